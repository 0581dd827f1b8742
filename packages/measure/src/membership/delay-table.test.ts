import type { ReportReceipt, RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { delayTables } from "./delay-table.ts";

const delays = (valuesMs: readonly number[]): ReportReceipt["joinDelays"] => ({
  trials: valuesMs.length,
  minMs: Math.min(...valuesMs),
  medianMs: valuesMs[0] ?? 0,
  p95Ms: Math.max(...valuesMs),
  maxMs: Math.max(...valuesMs),
  resolutionMs: 10,
  valuesMs: [...valuesMs],
});

const receipt = (listener: string, of: Partial<ReportReceipt>): ReportReceipt =>
  ({
    stream: "board",
    listener,
    joinDelays: null,
    leaveDelays: null,
    leavesWithoutEffect: null,
    ...of,
  }) as ReportReceipt;

const report = (receipts: readonly ReportReceipt[], expectations: RunReport["expectations"] = []): RunReport =>
  ({ receipts, expectations }) as unknown as RunReport;

test("delayTables: given delays of two listeners, then a line for both together and one for each, the slowest first, with the limit", () => {
  const limit = { what: "join delay", limit: "500 ms", measured: "30 ms", met: true, detail: "" };
  const [join, ...more] = delayTables(
    report(
      [receipt("kiosk", { joinDelays: delays([10, 12]) }), receipt("till", { joinDelays: delays([20, 30]) })],
      [limit],
    ),
  );
  expect(more).toEqual([]);
  expect(join).toMatchObject({ what: "join", limit: "500 ms", limitMs: 500, isMet: true });
  expect(join?.lines.map(({ listener, trials, maxMs }) => [listener, trials, maxMs])).toEqual([
    [null, 4, 30],
    ["till", 2, 30],
    ["kiosk", 2, 12],
  ]);
});

test("delayTables: given a leave that took no effect, then it took at least as long as was waited, and nothing was measured", () => {
  const [leave] = delayTables(report([receipt("kiosk", { leavesWithoutEffect: 1, leaveDelayAtLeastMs: 6200 })]));
  expect(leave).toMatchObject({ what: "leave", limit: null, isMet: null });
  expect(leave?.lines).toMatchObject([{ trials: 0, medianMs: null, maxMs: null, atLeastMs: 6200, withoutEffect: 1 }]);
});

test("delayTables: given nothing that could be measured, then no table", () => {
  expect(delayTables(report([receipt("kiosk", {})]))).toEqual([]);
});
