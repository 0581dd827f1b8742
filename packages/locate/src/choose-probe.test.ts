import { describe, expect, test } from "vitest";
import { drawProbeScene, faultsOf, playProbe } from "../../../tests/simulation/probe-scene.ts";
import { seededRandom } from "../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../tests/simulation/simulate-run.ts";
import { segmentBetween, sketchSite } from "../../../tests/simulation/sketch-site.ts";
import { drawStopScene, truthOf } from "../../../tests/simulation/stop-scene.ts";
import { chooseProbe, wantedAgent } from "./choose-probe.ts";
import { locate } from "./locate.ts";
import { narrowSuspects } from "./narrow-suspects.ts";
import type { ProbeTask } from "./probe/probe.ts";

// Sites drawn up for these tests; what is true is what the simulation put in, which shares no reasoning with the choice.
const CASES = 150;

describe("probe: given random stops whose suspects one run can't tell apart", () => {
  const random = seededRandom(1405);
  const played = Array.from({ length: CASES }, () => {
    const scene = drawProbeScene(drawStopScene(random, 6, 40, 2), random);
    const probe = scene === null ? null : chooseProbe(scene.graph, scene.task);
    return scene === null || probe === null ? [] : [{ ...scene, probe }];
  }).flat();

  test("then what is true is never ruled out, and as few are left as was foretold", () => {
    expect(played.length).toBeGreaterThan(CASES / 4); // they were drawn at all
    let parted = 0;
    for (const { graph, task, probe } of played) {
      expect(probe.expectedSuspects).toBeLessThanOrEqual(task.suspects.length + 1e-9);
      if (probe.expectedSuspects < task.suspects.length) parted++;
      for (const element of task.causes.elements) {
        const faults = faultsOf(element);
        if (faults.length === 0) continue;
        const both = playProbe(graph, task, probe, faults, random);
        const story = `${JSON.stringify(element)} ${JSON.stringify(probe)} ${JSON.stringify(both)}`;
        expect(both.suspects, story).toContain(element.place);
        expect(["narrowed", "not-parted"], story).toContain(both.outcome);
        expect(both.suspects.length, story).toBeLessThanOrEqual(probe.mostSuspects);
      }
    }
    expect(parted).toBeGreaterThan(played.length / 2);
  });

  test("then the fault of the first run is among what both runs leave", () => {
    for (const { graph, task, probe, fault } of played) {
      if (!task.suspects.includes(truthOf(fault))) continue;
      const both = playProbe(graph, task, probe, [fault], random);
      expect(both.suspects, JSON.stringify({ fault, probe, both })).toContain(truthOf(fault));
    }
  });

  test("then a fault that is gone leaves the first run's suspects as they are, and says so", () => {
    for (const { graph, task, probe } of played) {
      expect(playProbe(graph, task, probe, [], random)).toMatchObject({ outcome: "gone", suspects: task.suspects });
    }
  });
});

const site = sketchSite(["tower--core", "core--sw-east", "sw-east--kiosk", "sw-east--gate", "core--hall"], "core");
const board = { stream: "board", group: "233.252.0.1", source: "tower", listeners: ["kiosk", "gate"], packets: 1_000 };

function taskOf(hosts: readonly string[], senders: readonly string[] = hosts): ProbeTask {
  const dead = segmentBetween(site, "core", "sw-east");
  const run = simulateRun(site, [board], [{ kind: "dead-segment", segment: dead }], seededRandom(1));
  const [finding] = locate(site, run).findings;
  if (finding?.causes === undefined) throw new Error("The first run found nothing");
  const silent = [{ source: "tower", group: board.group, isSourceSpecific: false, hosts: ["kiosk", "gate"] }];
  return { suspects: finding.suspects, causes: finding.causes, silent, hosts, senders, spareGroup: null };
}

describe("probe: given a trunk that stops everything behind it", () => {
  test("then a source behind it clears the switch there, and what failed is repeated first", () => {
    const probe = chooseProbe(site, taskOf(["tower", "kiosk", "gate", "hall"]));
    expect(probe?.streams[0]).toMatchObject({ source: "tower", group: board.group });
    expect(probe?.streams.map(({ source }) => source)).toSatisfy((sources: string[]) =>
      sources.some((source) => source === "kiosk" || source === "gate"),
    );
  });

  test("then hosts that may not send send nothing", () => {
    const probe = chooseProbe(site, taskOf(["tower", "kiosk", "gate", "hall"], ["tower", "hall"]));
    for (const { source } of probe?.streams ?? []) expect(["tower", "hall"]).toContain(source);
  });

  test("then without the source that failed there is no probe", () => {
    expect(chooseProbe(site, taskOf(["kiosk", "gate", "hall"]))).toBeNull();
  });

  test("then where today's agents part no more, it is said where another would", () => {
    const task = taskOf(["tower", "kiosk"], ["tower"]);
    const probe = chooseProbe(site, task);
    if (probe === null) throw new Error("There is no probe");
    const wanted = wantedAgent(site, task, probe);
    expect(wanted?.expectedSuspects).toBeLessThan(probe.expectedSuspects);
    expect(site.nodes.has(wanted?.beside ?? "")).toBe(true);
  });
});

describe("probe: given what hosts heard of the querier meanwhile", () => {
  const trunk = segmentBetween(site, "core", "sw-east");
  const back = segmentBetween(site, "sw-east", "core");
  const task = taskOf(["tower", "kiosk", "gate", "hall"]);
  /** What both runs leave if just these hosts could hear queries and heard none. */
  const leftIfDeaf = (deaf: readonly string[]): readonly string[] => {
    const probe = chooseProbe(site, task);
    const streams = (probe?.streams ?? []).map((one, at) => ({ ...one, stream: `probe-${at + 1}`, packets: 120 }));
    const run = simulateRun(site, streams, [{ kind: "dead-segment", segment: trunk }], seededRandom(3));
    const query = { address: "192.0.2.1", family: 4, version: 3, queries: 3, firstMs: 0, lastMs: 900 } as const;
    const queriers = task.hosts.map((host) => ({
      host,
      canHear: true,
      watchedFromMs: -500,
      watchedToMs: 1_500,
      queriers: deaf.includes(host) ? [] : [query],
    }));
    return narrowSuspects(site, task, { ...run, queriers }).suspects;
  };

  test("then where all behind the trunk heard none, the trunk towards them is left alone", () => {
    expect(leftIfDeaf(["kiosk", "gate"])).toEqual([trunk]);
  });

  test("then where all heard them, both directions stay: what lets queries through may stop other groups", () => {
    expect(leftIfDeaf([])).toEqual(expect.arrayContaining([trunk, back]));
  });

  test.each([[["kiosk"]], [["kiosk", "gate", "hall"]]])(
    "then %j hearing none fits no suspect, and rules none out",
    (deaf) => {
      expect(leftIfDeaf(deaf)).toEqual(leftIfDeaf([]));
    },
  );
});
