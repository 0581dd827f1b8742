import { expect, test } from "vitest";
import { locate } from "../../../packages/locate/src/locate.ts";
import { drawOne, drawSome, seededRandom } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { drawStopScene } from "../stop-scene.ts";
import { type CountedDrop, DROP_PLACES, simulateDevices } from "./simulate-devices.ts";

/**
 * Random sites with several sources and a part of their switches read, for their counters alone: what a table has depends on where
 * each switch's router ports are, which such a site does not say.
 */
test.each([
  ["everything", 1],
  ["every fifth frame", 0.2],
])(
  "given %s dropped somewhere on random sites with some devices read, then no true suspect is ruled out",
  (_, ratio) => {
    const random = seededRandom(71);
    let [judged, before, after] = [0, 0, 0];
    const wrong: unknown[] = [];
    for (let site = 0; site < 60; site++) {
      const { graph, streams } = drawStopScene(random, 6, 40, 3);
      const segment = drawOne(random, [...graph.segments.keys()]);
      const drop: CountedDrop = { segment, where: drawOne(random, [...DROP_PLACES]), ratio };
      const fault =
        ratio === 1 ? ({ kind: "dead-segment", segment } as const) : ({ kind: "loss", segment, ratio } as const);
      const agents = simulateRun(graph, streams, [fault], random);
      const without = locate(graph, agents).findings;
      if (!without.some(({ suspects }) => suspects.includes(segment))) continue;
      const managed = [...graph.nodes.values()].flatMap(({ name, kind }) =>
        kind === "switch" || kind === "router" ? name : [],
      );
      const read = new Set(drawSome(random, managed, Math.ceil(managed.length * (0.3 + 0.7 * random()))));
      const counted = simulateDevices({ graph, streams, drop, read, background: 30 }, random);
      const devices = counted.map((device) => ({ ...device, tables: [] }));
      const { findings } = locate(graph, { ...agents, devices });
      judged++;
      before += without.reduce((sum, { suspects }) => sum + suspects.length, 0);
      after += findings.reduce((sum, { suspects }) => sum + suspects.length, 0);
      if (!findings.some(({ suspects }) => suspects.includes(segment))) {
        wrong.push({
          site,
          drop,
          without: without.map(({ suspects }) => suspects),
          with: findings.map(({ suspects, evidence }) => [suspects, evidence.slice(-3)]),
        });
      }
    }
    expect(wrong).toEqual([]);
    expect(judged).toBeGreaterThan(20);
    expect(after).toBeLessThan(before);
  },
);
