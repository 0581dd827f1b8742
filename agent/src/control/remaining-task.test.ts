import type { AgentTask, IntervalReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { remainingTask } from "./remaining-task.ts";
import { shiftReport } from "./shift-report.ts";

const stream = {
  streamId: 1,
  name: "board",
  group: "233.252.0.1",
  port: 48_620,
  ssmSource: null,
  rateBps: 1e6,
  payloadBytes: 1316,
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
};
const TASK: AgentTask = {
  runId: "00000000000000aa",
  streams: [stream, { ...stream, streamId: 2 }],
  actions: [
    { atNs: 0, kind: "join", streamId: 2 },
    { atNs: 1, kind: "emit", streamId: 1 },
    { atNs: 2, kind: "set", streamId: 1, rateBps: 5e6 },
    { atNs: 3, kind: "leave", streamId: 2 },
    { atNs: 7, kind: "join", streamId: 2 },
    { atNs: 9, kind: "stop", streamId: 1 },
  ],
  endNs: 10,
  intervalNs: 1e9,
  holdNs: 5e9,
};

test("remainingTask: given an instant between two actions, then what stands by then stands at once, and the rest follows in its time", () => {
  const rest = remainingTask(TASK, 4);
  expect(rest.streams.map(({ rateBps }) => rateBps)).toEqual([5e6, 1e6]);
  expect(rest.actions).toEqual([
    { atNs: 0, kind: "emit", streamId: 1 },
    { atNs: 3, kind: "join", streamId: 2 },
    { atNs: 5, kind: "stop", streamId: 1 },
  ]);
  expect(rest.endNs).toBe(6);
});

test("remainingTask: given the start, then nothing is changed but that a join at 0 comes first", () => {
  expect(remainingTask(TASK, 0)).toEqual(TASK);
  expect(remainingTask(TASK, 9.5).actions).toEqual([{ atNs: 0, kind: "join", streamId: 2 }]);
});

test("shiftReport: given a report, then every instant moves and no length does; given no shift, then it is the same object", () => {
  const report = {
    fromNs: 0,
    toNs: 1e9,
    listeners: [],
    senders: [{ stalls: [{ atNs: 5, durationNs: 7 }] }],
    host: {},
    sourcesStopped: { why: "hold-time", atNs: 9, detail: "" },
    totals: null,
  } as unknown as IntervalReport;
  expect(shiftReport(report, 3e9)).toMatchObject({
    fromNs: 3e9,
    toNs: 4e9,
    senders: [{ stalls: [{ atNs: 3e9 + 5, durationNs: 7 }] }],
    sourcesStopped: { atNs: 3e9 + 9 },
  });
  expect(shiftReport(report, 0)).toBe(report);
});
