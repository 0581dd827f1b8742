import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { RunObservations } from "../run/run-observations.ts";

// Site and times drawn up for these tests; the truth is what the simulation put in.
const site = sketchSite(
  ["tower--core", "desk--core", "core--sw-east", "sw-east--kiosk", "sw-east--gate", "core--hall"],
  "core",
);
const trunk = segmentBetween(site, "core", "sw-east");
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk", "gate", "hall"],
  packets: 2_000,
};
const streams = [board, { ...board, stream: "maps", source: "desk" }];
const STOP_MS = 10_000;
const cut = simulateRun(site, streams, [{ kind: "dead-segment", segment: trunk, fromMs: STOP_MS }], seededRandom(3));

/** The run as desk's clock has it, which is later than the common one by `offMs`. */
function told(offMs: number, uncertaintyMs: number | null): readonly Finding[] {
  const run: RunObservations = {
    ...cut,
    streams: cut.streams.map((stream) =>
      stream.source !== "desk"
        ? stream
        : {
            ...stream,
            steps: stream.steps.map((step) => ({ ...step, startMs: step.startMs + offMs, endMs: step.endMs + offMs })),
          },
    ),
    clocks: [
      { host: "tower", uncertaintyMs: 0 },
      { host: "desk", uncertaintyMs },
    ],
  };
  return locate(site, run).findings;
}

test("cleared elements: given two sources whose clocks differ by no more than is known, then one cut is one finding at its place", () => {
  const random = seededRandom(14);
  for (let round = 0; round < 60; round++) {
    const uncertaintyMs = 2_000 * random();
    const findings = told((2 * random() - 1) * uncertaintyMs, uncertaintyMs);
    expect(findings.map(({ kind, suspects }) => [kind, suspects[0]])).toEqual([["stops", trunk]]);
    expect(findings[0]?.streams).toEqual(["board", "maps"]);
  }
});

test("cleared elements: given a clock that was never compared, then its times clear nothing of another source's", () => {
  expect(told(1_500, null).map(({ kind, suspects }) => [kind, suspects[0]])).toEqual([["stops", trunk]]);
});

test("cleared elements: given clocks that are sure, then what came after the other's silence began still clears the way", () => {
  const apart = told(1_500, 0);
  expect(apart.map(({ streams }) => streams)).toContainEqual(["board"]);
  expect(apart.some(({ streams, suspects }) => streams.includes("board") && suspects.includes(trunk))).toBe(false);
});
