import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";

/** Copies are counted at each listener; the numbers are drawn up here after where a place on the way makes them. */
const site = sketchSite(
  [
    "tower--core",
    "core--sw-east",
    "sw-east--kiosk",
    "sw-east--gate",
    "core--sw-west",
    "sw-west--hall",
    "sw-west--desk",
  ],
  "core",
);
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk", "gate", "hall", "desk"],
  packets: 400,
};

/** @param copies by host; absent: none @returns findings of a run with so many */
function findingsWith(copies: Readonly<Record<string, number | null>>, streams = [board]): readonly Finding[] {
  const run = simulateRun(site, streams, [], seededRandom(3));
  const listeners = run.listeners.map((one) => ({
    ...one,
    duplicatePackets: one.host in copies ? (copies[one.host] ?? null) : 0,
  }));
  return locate(site, { ...run, listeners }).findings;
}

test("duplicates: given every packet twice behind one segment, then that segment is the first suspect", () => {
  const [finding, ...others] = findingsWith({ kiosk: 400, gate: 400 });
  expect(others).toEqual([]);
  expect(finding?.kind).toBe("duplicates");
  expect(finding?.suspects).toEqual([segmentBetween(site, "core", "sw-east"), "sw-east"]);
  expect(finding?.title).toBe(
    "board comes more than once at kiosk and gate, 100 copies to 100 packets: they are made between core:2 and sw-east:1",
  );
  expect(finding?.evidence.join(" ")).toContain("hall and desk got every packet once, or nearly.");
});

test("duplicates: given a place that makes copies, then it is not called ok, though it loses nothing", () => {
  const run = simulateRun(site, [board], [], seededRandom(3));
  const behind = ["kiosk", "gate"];
  const listeners = run.listeners.map((one) => ({ ...one, duplicatePackets: behind.includes(one.host) ? 400 : 0 }));
  const { segments } = locate(site, { ...run, listeners });
  const statusOf = (id: string): string | undefined => segments.find((segment) => segment.id === id)?.status;
  expect([segmentBetween(site, "core", "sw-east"), "sw-east"].map(statusOf)).toEqual(["unknown", "unknown"]);
  expect(statusOf(segmentBetween(site, "core", "sw-west"))).toBe("ok");
});

test("duplicates: given a share of the packets twice, then the place is the same", () => {
  const [finding, ...others] = findingsWith({ kiosk: 21, gate: 19 });
  expect(others).toEqual([]);
  expect(finding?.suspects[0]).toBe(segmentBetween(site, "core", "sw-east"));
});

test("duplicates: given copies at one host, then its own segment and the host itself are suspects", () => {
  const [finding] = findingsWith({ desk: 800 });
  expect(finding?.suspects).toEqual([segmentBetween(site, "sw-west", "desk"), "desk"]);
  expect(finding?.title).toContain("200 copies to 100 packets");
});

test("duplicates: given copies at everybody, then the source and its way to the first branch are suspects", () => {
  const [finding, ...others] = findingsWith({ kiosk: 400, gate: 400, hall: 400, desk: 400 });
  expect(others).toEqual([]);
  expect(finding?.suspects).toEqual(expect.arrayContaining([segmentBetween(site, "tower", "core"), "tower", "core"]));
  expect(finding?.title).toContain("by tower itself, or on its way to the first branch");
});

test("duplicates: given two places that make copies, one far more than the other, then each is a finding", () => {
  const [most, least, ...others] = findingsWith({ kiosk: 400, gate: 400, hall: 40 });
  expect(others).toEqual([]);
  expect(most?.suspects[0]).toBe(segmentBetween(site, "core", "sw-east"));
  expect(least?.suspects[0]).toBe(segmentBetween(site, "sw-west", "hall"));
});

test("duplicates: given a few copies here and there, or listeners that do not count them, then nothing is found", () => {
  expect(findingsWith({ kiosk: 3, hall: 1 })).toEqual([]);
  expect(findingsWith({ kiosk: null, gate: null, hall: null, desk: null })).toEqual([]);
});

test("duplicates: given two streams that cross the segment, then one finding names both", () => {
  const streams = [board, { ...board, stream: "paging", group: "233.252.0.2" }];
  const [finding, ...others] = findingsWith({ kiosk: 400, gate: 400 }, streams);
  expect(others).toEqual([]);
  expect(finding?.streams).toEqual(["board", "paging"]);
});
