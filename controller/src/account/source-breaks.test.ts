import type { SenderInterval, SourceStop } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { type SendingReport, sourceBreaks } from "./source-breaks.ts";

/** What one second of a source says. */
function second(at: number, stint: string, sentPackets: number, stop?: readonly [SourceStop, number]): SendingReport {
  const sender: SenderInterval = {
    streamId: 1,
    senderId: 7,
    sentPackets,
    sentBytes: sentPackets * 100,
    firstSeq: null,
    lastSeq: null,
    sendErrors: { enobufs: 0, eagain: 0, other: 0 },
    lastError: null,
    skippedPackets: 0,
    pacing: null,
    stalls: [],
  };
  const sourcesStopped =
    stop === undefined
      ? null
      : { why: stop[0], atNs: stop[1] * 1e9, detail: stop[0] === "as-planned" ? "" : "not heard" };
  return { stint, report: { fromNs: at * 1e9, toNs: (at + 1) * 1e9, senders: [sender], sourcesStopped } };
}

test("a source that ended as planned, or never sent, has no break", () => {
  expect(sourceBreaks([second(0, "a", 0), second(1, "a", 100), second(2, "a", 0, ["as-planned", 2])])).toEqual([]);
  expect(sourceBreaks([second(0, "a", 0), second(1, "a", 0, ["hold-time", 1])])).toEqual([]);
});

test("a source that stopped by itself says when and why, once, and from when it sent again", () => {
  const stopped = [second(0, "a", 100), second(1, "a", 40, ["hold-time", 1.4]), second(2, "a", 0, ["hold-time", 1.4])];
  const broke = { stoppedNs: 1.4e9, why: "not heard", heardNs: 2e9 };
  expect(sourceBreaks(stopped)).toEqual([{ ...broke, againNs: null }]);
  const again = [second(4, "b", 0), second(5, "b", 100), second(6, "b", 0, ["as-planned", 6])];
  expect(sourceBreaks([...stopped, ...again])).toEqual([{ ...broke, againNs: 5e9 }]);
});

test("an agent that ended without a word is told from its reports", () => {
  const reports = [second(0, "a", 100), second(1, "a", 100), second(8, "b", 100), second(9, "c", 100)];
  expect(sourceBreaks(reports)).toEqual([
    { stoppedNs: null, why: null, heardNs: 2e9, againNs: 8e9 },
    { stoppedNs: null, why: null, heardNs: 9e9, againNs: 9e9 },
  ]);
});
