import { mergeReceipts } from "@dyetrace/measure";
import { emptyTestPacket, type TaskStream } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { ListenedStream, type StayPart } from "./listened-stream.ts";

const SECOND_NS = 1e9;
const STREAM: TaskStream = {
  streamId: 1,
  name: "board",
  group: "233.252.0.1",
  port: 48_620,
  ssmSource: null,
  rateBps: 80_000,
  payloadBytes: 100,
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
};

/** 100 packets/s: number n arrives at n x 10 ms. */
function arrive(stream: ListenedStream, firstSeq: number, lastSeq: number, missing: readonly number[] = []): void {
  for (let seq = firstSeq; seq <= lastSeq; seq++) {
    if (missing.includes(seq)) continue;
    stream.take({ ...emptyTestPacket(), seq, sentNs: seq * 1e7, senderId: 7, sizeBytes: 100 }, seq * 1e7, 1, 0);
  }
}

const figures = ({ membership, receipt }: StayPart) => ({
  from: membership.joinRequestedNs / SECOND_NS,
  received: receipt.firstCopies,
  lost: receipt.lost,
  spans: receipt.spans.map(({ firstSeq, endSeq }) => [firstSeq, endSeq]),
});

test("ListenedStream: given two stays within one interval, then each has a part of its own and the pause is nobody's loss", () => {
  const stream = new ListenedStream(STREAM, SECOND_NS, true);
  stream.joined(0.1e9);
  arrive(stream, 10, 29, [20]);
  stream.left(0.3e9);
  stream.joined(0.6e9);
  arrive(stream, 60, 79);
  stream.left(0.8e9);
  expect(stream.takeParts(0, SECOND_NS, false).map(figures)).toEqual([
    { from: 0.1, received: 19, lost: 1, spans: [[10, 30]] },
    { from: 0.6, received: 20, lost: 0, spans: [[60, 80]] },
  ]);
  expect(stream.takeParts(1, 2 * SECOND_NS, true)).toEqual([]);
  expect(stream.total?.firstCopies).toBe(39);
  expect(stream.allMemberships.map((stay) => stay.leaveRequestedNs)).toEqual([0.3e9, 0.8e9]);
});

test("ListenedStream: given a stay over several intervals, then its parts merge to the whole stay", () => {
  const stream = new ListenedStream(STREAM, SECOND_NS, true);
  stream.joined(0);
  arrive(stream, 0, 199, [99, 100]);
  const first = stream.takeParts(0, SECOND_NS, false);
  arrive(stream, 200, 249);
  stream.left(2.5e9);
  const parts = [...first, ...stream.takeParts(1, 2 * SECOND_NS, false), ...stream.takeParts(2, 3 * SECOND_NS, true)];
  expect(parts.map((part) => part.membership.joinRequestedNs)).toEqual([0, 0, 0]);
  const whole = parts.map((part) => part.receipt).reduce(mergeReceipts);
  expect(whole).toEqual(stream.total);
  expect([whole.firstCopies, whole.lost, whole.isFinal]).toEqual([248, 2, true]);
});

test("ListenedStream: given a leave just after the run's end, then the last interval's part has it and is final", () => {
  const stream = new ListenedStream(STREAM, SECOND_NS, true);
  stream.joined(0);
  arrive(stream, 0, 99);
  stream.left(1.0001e9);
  const [part] = stream.takeParts(0, SECOND_NS, true);
  expect([part?.receipt.firstCopies, part?.receipt.isFinal]).toEqual([100, true]);
});
