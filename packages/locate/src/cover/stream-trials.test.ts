import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";
import type { SeqRange } from "../run/run-observations.ts";

// Site and numbers drawn up for these tests: 10 packets and 100 ms make a silence, which is common practice, no source.
const site = sketchSite(
  ["tower--core", "core--sw-east", "sw-east--kiosk", "sw-east--gate", "core--sw-west", "sw-west--hall"],
  "core",
);
const trunk = segmentBetween(site, "core", "sw-east");
const BEHIND = ["kiosk", "gate"];
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: [...BEHIND, "hall"],
  packets: 2_000,
};

/** What is found where both hosts behind the trunk miss these numbers of 2,000, and nobody can tell of `unknown` there. */
function found(
  lost: readonly SeqRange[],
  packetsPerSecond = 100,
  unknown: readonly SeqRange[] = [],
): [string, string | undefined][] {
  const run = simulateRun(site, [{ ...board, packetsPerSecond }], [], seededRandom(5));
  const missing = lost.reduce((sum, [first, last]) => sum + last - first + 1, 0);
  const listeners = run.listeners.map((one) =>
    BEHIND.includes(one.host) ? { ...one, lost, unknown, receivedPackets: 2_000 - missing } : one,
  );
  return locate(site, { ...run, listeners }).findings.map(({ kind, suspects }) => [kind, suspects[0]]);
}

test("stream trials: given a stop anywhere in the run, down to the last 20 packets, then it is a stop and no loss", () => {
  const random = seededRandom(13);
  for (let round = 0; round < 60; round++) {
    const stoppedFrom = 1 + Math.floor(1_979 * random() ** 0.2);
    expect(found([[stoppedFrom, 1_999]])).toEqual([["stops", trunk]]);
  }
});

test("stream trials: given a last run of losses no longer than three times an earlier one, then it is loss", () => {
  const losses: SeqRange[] = [300, 700, 1_100, 1_500].map((first) => [first, first + 7]);
  expect(found([...losses, [1_980, 1_999]])).toEqual([["loses", trunk]]);
  expect(found([...losses, [1_970, 1_999]])).toEqual([
    ["stops", trunk],
    ["loses", trunk],
  ]);
});

test("stream trials: given half of the packets lost all along, then a last run that chance makes is no stop", () => {
  const halves = Array.from({ length: 985 }, (_, i): SeqRange => [2 * i + 1, 2 * i + 1]);
  // 2,000 x 0.5^29 is more than 1e-6.
  expect(found([...halves, [1_971, 1_999]])).toEqual([["loses", trunk]]);
});

test("stream trials: given a silence at the end of less than 100 ms, then nothing stopped", () => {
  expect(found([[1_900, 1_999]], 2_000).map(([kind]) => kind)).not.toContain("stops");
  expect(found([[1_700, 1_999]], 2_000).map(([kind]) => kind)).toEqual(["stops"]);
});

// A second's report that never arrived: its numbers stand among those that are missing.
test("stream trials: given missing numbers that nobody can tell of, then nothing is found, wherever they are", () => {
  const random = seededRandom(7);
  for (let round = 0; round < 40; round++) {
    const first = Math.floor(1_901 * random());
    expect(found([[first, first + 99]], 100, [[first, first + 99]])).toEqual([]);
  }
});

test("stream trials: given a stop around or beside numbers that nobody can tell of, then it is found all the same", () => {
  for (const hole of [
    [1_200, 1_299],
    [1_450, 1_549],
    [1_700, 1_799],
    [1_900, 1_999],
  ] as const) {
    const lost: SeqRange[] = hole[1] < 1_499 ? [hole, [1_500, 1_999]] : [[Math.min(hole[0], 1_500), 1_999]];
    expect(found(lost, 100, [hole])).toEqual([["stops", trunk]]);
  }
});
