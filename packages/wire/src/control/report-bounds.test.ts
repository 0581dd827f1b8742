import { expect, test } from "vitest";
import { AgentMessageSchema, parseMessage } from "./control-messages.ts";
import { completeReport } from "./report-form.ts";

/** What one enrolled agent may put into a report, so that neither a database nor a sum breaks on it. */
const RUN = "00000000000000aa";
const HOST = { linkChanges: 0, wallClockSteps: 0 };
const read = (changes: object): unknown =>
  parseMessage(
    AgentMessageSchema,
    {
      kind: "report",
      runId: RUN,
      stint: RUN,
      firstNumber: 1,
      lastNumber: 1,
      droppedReports: 0,
      watch: null,
      isFinal: false,
      report: completeReport({
        fromNs: 0,
        toNs: 1e9,
        listeners: [],
        senders: [],
        host: HOST,
        sourcesStopped: null,
        totals: null,
        ...changes,
      }),
    },
    "The agent's message",
  );
const stopped = (detail: string) => ({ sourcesStopped: { why: "guard", atNs: 0, detail } });
const sender = {
  streamId: 1,
  senderId: 7,
  sentPackets: 1,
  sentBytes: 1,
  firstSeq: 0,
  lastSeq: 0,
  sendErrors: { enobufs: 0, eagain: 0, other: 0 },
  lastError: null,
  skippedPackets: 0,
  pacing: null,
  stalls: [],
};

test.each<[string, object]>([
  ["a NUL in its words", stopped("a\u0000b")],
  ["an escape sequence of a terminal in its words", stopped("\u001b[2Jall is well")],
  ["an instant of 1e300 ns", { toNs: 1e300 }],
  ["a count of 1e300", { senders: [{ ...sender, sentPackets: 1e300 }] }],
  ["a number of lost packets beyond what a double counts", { senders: [{ ...sender, skippedPackets: 2 ** 53 }] }],
])("parseMessage: given a report with %s, then it is refused", (_what, changes) => {
  expect(() => read(changes)).toThrow(/is not as agreed at \/report\//);
});

test("parseMessage: given the largest and the plainest that is allowed, then it is taken", () => {
  expect(() => read({ senders: [{ ...sender, sentPackets: 2 ** 53 - 1 }] })).not.toThrow();
  expect(() => read(stopped("line one\n\tünïcode — 𝕏"))).not.toThrow();
});
