import { loadSitePlan } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { compareRuns, type RunComparison } from "../../controller/src/compare/compare-runs.ts";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

/** 20 is the number of the project's own promise (about 15 minutes); each pair is two runs one after the other. */
const PAIRS = Number(process.env["DYETRACE_COMPARE_PAIRS"] ?? "2");

const PLAN = `site: Quillfen Upgrade
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  west: { kind: switch }
  tower: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  board-1: { kind: host }
  board-2: { kind: host }
links:
  - core:1 -- east:24
  - core:2 -- west:24
  - core:9 -- tower:eth0
  - east:1 -- kiosk-1:eth0
  - east:2 -- kiosk-2:eth0
  - west:1 -- board-1:eth0
  - west:2 -- board-2:eth0
`;
/** 1000 packets/s for the loss, and another group that is joined and left four times by two hosts in the east and one in the west. */
const SCENARIO = `scenario: upgrade
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 1.6 Mbit/s, payload: 200 B }
  - { name: zap, source: tower, group: 239.195.10.5, rate: 320 kbit/s, payload: 200 B }
timeline:
  - { at: 0s, join: board, agents: all }
  - { at: 1s, emit: [board, zap] }
  - { at: 2s, join: zap, agents: [kiosk-1, kiosk-2, board-1], repeat: { every: 8s, times: 4 } }
  - { at: 3.5s, leave: zap, agents: [kiosk-1, kiosk-2, board-1], repeat: { every: 8s, times: 4 } }
  - { at: 34s, stop: [board, zap] }
`;

describe("compare on a practice site", () => {
  const graph = loadSitePlan(PLAN, "plan.yaml");
  let bench: PracticeBench;
  let before: RunReport;
  beforeAll(async () => {
    bench = await raiseBench(PLAN);
    before = await bench.run(SCENARIO);
  }, 240_000);
  afterAll(() => bench[Symbol.asyncDispose]());

  const withFault = async (...faults: string[]): Promise<RunComparison> =>
    compareRuns(await bench.run(SCENARIO, { faults }), before, graph);
  test(
    `given the same site ${PAIRS + 1} times, then ${PAIRS} pairs of runs say that nothing changed, with one false alarm in twenty at most`,
    async () => {
      const outcomes: string[] = [];
      let last = before;
      for (let pair = 0; pair < PAIRS; pair++) {
        const next = await bench.run(SCENARIO);
        const comparison = compareRuns(next, last, graph);
        outcomes.push(comparison.outcome === "same" ? "same" : `${comparison.outcome}: ${comparison.reason}`);
        last = next;
      }
      const alarms = outcomes.filter((outcome) => /^(worse|better)/.test(outcome));
      expect([alarms.length <= Math.floor(PAIRS / 20), alarms]).toEqual([true, alarms]);
      expect([outcomes.filter((outcome) => outcome === "same").length >= PAIRS * 0.9, outcomes]).toEqual([
        true,
        outcomes,
      ]);
    },
    PAIRS * 60_000 + 60_000,
  );

  // A port is closed by whichever comes first: the querier's specific queries running out, or the switch's own timer. So
  // both have to be slower for one switch to be slow.
  test("given a leave delay of 5 s instead of 2 s at the eastern switch, then worse, and it is named", async () => {
    const comparison = await withFault(
      "querier-timers, on: core, last-member-interval: 2.5s",
      "querier-timers, on: east, last-member-interval: 2.5s",
    );
    expect(comparison.outcome).toBe("worse");
    const delays = comparison.changes.filter(({ what }) => what === "leave delay");
    expect(delays).toMatchObject([{ outcome: "worse", stream: "zap", places: ["core:1>east:24", "east"] }]);
    expect(comparison.changes.filter(({ what }) => what === "loss")).toEqual([]);
  });

  test("given 0.1 % more loss on the link to the east, then worse, and that link is named", async () => {
    const comparison = await withFault("drop, on: 'core:1>east:24', share: 0.1 %, group: 239.195.10.4");
    expect(comparison.outcome).toBe("worse");
    const losses = comparison.changes.filter(({ what, stream }) => what === "loss" && stream === "board");
    expect(losses).toMatchObject([{ outcome: "worse", listeners: ["kiosk-1", "kiosk-2"] }]);
    expect(losses[0]?.places).toContain("core:1>east:24");
  });

  test("given snooping lost on the western switch, then worse, and that switch is named", async () => {
    const comparison = await withFault("snooping-off, on: west");
    expect(comparison.outcome).toBe("worse");
    const leaks = comparison.changes.filter(({ what }) => what === "leaks" || what === "frames without joining");
    expect(leaks.length).toBeGreaterThan(0);
    expect(leaks.flatMap(({ places }) => places)).toContain("west");
  });
});
