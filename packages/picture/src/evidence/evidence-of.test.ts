import type { FindingKind, RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { evidenceOf } from "./evidence-of.ts";

type Receipt = RunReport["receipts"][number];
const receipt = (listener: string, received: number | null, sent: number | null): Receipt =>
  ({ stream: "board", listener, received, sent, gaps: [] }) as unknown as Receipt;
const FINDING = {
  kind: "loses",
  streams: ["board"],
  suspects: ["a:1>b:1"],
} as unknown as RunReport["findings"][number];
const reportWith = (parts: Partial<RunReport>): RunReport =>
  ({
    receipts: [],
    segments: [],
    bystanders: [],
    startedAt: "2026-01-01T00:00:00.000Z",
    endedAt: "2026-01-01T00:00:08.000Z",
    ...parts,
  }) as unknown as RunReport;

test("evidenceOf: given receipts, then those who miss most come first and the unknown are not taken for worst", () => {
  const receipts = [
    receipt("whole", 100, 100),
    receipt("dark", null, 100),
    receipt("dry", 0, 100),
    receipt("thin", 90, 100),
  ];
  const { shares } = evidenceOf(FINDING, reportWith({ receipts }));
  expect(shares.map(({ listener }) => listener)).toEqual(["dry", "thin", "dark", "whole"]);
});

test("evidenceOf: given segments without a rate of their own, then they are left out rather than shown as 0", () => {
  const segments = [
    { id: "a:1>b:1", lossRatio: 0.05, low: 0.04, high: 0.06, status: "loses" },
    { id: "b:1>a:1", lossRatio: null, low: null, high: null, status: "unknown" },
  ] as RunReport["segments"];
  const { losses } = evidenceOf(FINDING, reportWith({ segments }));
  expect(losses.map(({ id, isSuspect }) => [id, isSuspect])).toEqual([["a:1>b:1", true]]);
});

test("evidenceOf: given nothing is lost anywhere, then there is no chart of losses", () => {
  const segments = [{ id: "a:1>b:1", lossRatio: 0, low: 0, high: 0.003, status: "ok" }] as RunReport["segments"];
  expect(evidenceOf(FINDING, reportWith({ segments })).losses).toEqual([]);
});

test("evidenceOf: given gaps whose time is unknown, then they are not drawn at a time of our own", () => {
  const gaps = [
    { firstSeq: 1, count: 2, startMs: null, durationMs: null },
    { firstSeq: 9, count: 1, startMs: 500, durationMs: 12 },
  ];
  const receipts = [{ ...receipt("thin", 90, 100), gaps, lost: 3 }];
  const [row] = evidenceOf(FINDING, reportWith({ receipts })).gaps;
  expect(row?.untimed).toBe(2);
  // A run of 8 s in 160 pieces: 12 ms at half a second are a quarter of the eleventh.
  expect(row?.missing[10]).toBeCloseTo(12 / 50, 6);
  expect(row?.missing.filter((share) => share > 0)).toHaveLength(1);
});

test("evidenceOf: given a list of gaps that ends before all missing packets are in it, then the others are counted as at unknown times, and the worst listener comes first", () => {
  const gap = (startMs: number, count: number) => ({ firstSeq: startMs, count, startMs, durationMs: 5 });
  const receipts = [
    { ...receipt("listed", 97, 100), gaps: [gap(100, 2), gap(900, 1)], lost: 3 },
    { ...receipt("cut", 60, 100), gaps: [gap(100, 9)], lost: 40 },
  ];
  const { gaps, more } = evidenceOf(FINDING, reportWith({ receipts }));
  expect(gaps.map(({ listener, untimed }) => [listener, untimed])).toEqual([
    ["cut", 31],
    ["listed", 0],
  ]);
  expect(more.gaps).toBe(0);
});

test("evidenceOf: given more listeners than there are rows, then it says how many more there are", () => {
  const receipts = Array.from({ length: 30 }, (_, index) => receipt(`host-${index}`, index, 100));
  const { shares, more } = evidenceOf(FINDING, reportWith({ receipts }));
  expect(shares.length + more.shares).toBe(30);
  expect(more.shares).toBeGreaterThan(0);
});

test("evidenceOf: given a finding about leaves, then each leave is shown, one without effect first; given another finding, then none", () => {
  const leaveDelays = (valuesMs: number[]) => ({ leaveDelays: { valuesMs }, leavesWithoutEffect: 0 });
  const receipts = [
    { ...receipt("quick", 100, 100), ...leaveDelays([1900, 2000]) },
    { ...receipt("slow", 100, 100), ...leaveDelays([5100, 5000]) },
    { ...receipt("never", 100, 100), leaveDelays: null, leavesWithoutEffect: 2 },
    { ...receipt("stays", 100, 100), leaveDelays: null, leavesWithoutEffect: null },
  ] as unknown as Receipt[];
  const about = (kind: FindingKind) => evidenceOf({ ...FINDING, kind }, reportWith({ receipts })).leaves;
  expect(about("slow-leave").map(({ listener }) => listener)).toEqual(["never", "slow", "quick"]);
  expect(about("stops")).toEqual([]);
});
