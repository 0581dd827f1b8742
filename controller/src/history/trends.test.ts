import type { RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { matrixOf, trendsOf } from "./trends.ts";

const receipt = (stream: string, listener: string, lost: number | null) => ({
  ...{ stream, listener, lost, lossRatio: lost === null ? null : lost / 1000, received: 1000, hostLost: 0 },
  ...{ duplicates: 0, reordered: 0, longestGapMs: null, jitterMs: null, joinDelayMs: 3, leaveDelayMs: null },
});
const reportOf = (run: string, receipts: object[], more: object = {}): RunReport =>
  ({
    ...{ run, scenario: "soak", startedAt: "2026-01-01T00:00:00.000Z", verdict: "pass", findings: [], receipts },
    ...{ streams: [{ name: "board" }, { name: "music" }], ...more },
  }) as unknown as RunReport;

const RUNS = [
  reportOf("a", [receipt("board", "kiosk-1", 0), receipt("music", "kiosk-1", 4)]),
  reportOf("b", [receipt("board", "kiosk-1", null), receipt("board", "lounge", 7)], {
    incidents: [{ times: 3 }, {}],
  }),
];

test("trendsOf: given two runs of which one lacks a stream, a listener and a figure, then these are null and never 0", () => {
  const { runs, trends } = trendsOf(RUNS, {});
  expect(runs.map(({ runId }) => runId)).toEqual(["a", "b"]);
  const of = (stream: string | null, listener: string | null, figure: string) =>
    trends.find((one) => one.stream === stream && one.listener === listener && one.figure === figure)?.values;
  expect(of("board", "kiosk-1", "lost")).toEqual([0, null]);
  expect(of("music", "kiosk-1", "loss_ratio")).toEqual([0.004, null]);
  expect(of("board", "lounge", "lost")).toEqual([null, 7]);
  expect(of("board", "kiosk-1", "jitter_ms")).toBeUndefined(); // nobody measured it in any run
  expect(of(null, null, "incidents")).toEqual([null, 4]);
});

test("trendsOf: given a figure, a stream or a listener, then only what is of it", () => {
  expect(trendsOf(RUNS, { figure: "lost", stream: "board" }).trends.map(({ listener }) => listener)).toEqual([
    "kiosk-1",
    "lounge",
  ]);
  expect(new Set(trendsOf(RUNS, { listener: "lounge" }).trends.map(({ listener }) => listener))).toEqual(
    new Set(["lounge"]),
  );
});

test("matrixOf: given receipts, then a row for each listener and a cell for each stream, null where it was not to receive it", () => {
  const { streams, rows } = matrixOf(RUNS[1] as RunReport);
  expect(streams).toEqual(["board", "music"]);
  expect(rows.map(({ listener, cells }) => [listener, cells.map((cell) => cell?.lost)])).toEqual([
    ["kiosk-1", [null, undefined]],
    ["lounge", [7, undefined]],
  ]);
  expect(rows[0]?.cells[1]).toBeNull();
});
