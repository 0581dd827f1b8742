import type { IntervalReport, ListenerInterval, SenderInterval, WatcherReport } from "@dyetrace/wire";
import fc from "fast-check";
import { expect, test } from "vitest";
import { mergeReceipts } from "../merge-receipts.ts";
import { StreamTracker } from "../stream-tracker.ts";
import { hasMembershipChange, mergeIntervalReports } from "./merge-interval-reports.ts";
import { mergeWatcherReports } from "./merge-watcher-reports.ts";

const SECOND = 1e9;
const NO_FOREIGN = {
  foreignPackets: 0,
  malformedPackets: 0,
  otherRunPackets: 0,
  otherStreamPackets: 0,
  misdirectedPackets: 0,
  sources: [],
};
const HOST = {
  udpRcvbufErrors: 1,
  udpInErrors: 0,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: null,
  interfaceRxErrors: 0,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 0,
  wallClockSteps: 0,
};

const sender = (firstSeq: number, count: number, maxNs: number): SenderInterval => ({
  streamId: 1,
  senderId: 7,
  sentPackets: count,
  sentBytes: count * 100,
  firstSeq,
  lastSeq: firstSeq + count - 1,
  sendErrors: { enobufs: 1, eagain: 0, other: 0 },
  lastError: null,
  skippedPackets: 0,
  pacing: { p50Ns: 1, p99Ns: 2, p999Ns: 3, maxNs },
  stalls: [],
});

function report(second: number, listeners: ListenerInterval[], senders: SenderInterval[] = []): IntervalReport {
  const fromNs = second * SECOND;
  return { fromNs, toNs: fromNs + SECOND, listeners, senders, host: HOST, sourcesStopped: null, totals: null };
}

/** One second's packets, a tenth of a second apart, without the lost ones. */
function listen(tracker: StreamTracker, second: number, lost: ReadonlySet<number>): ListenerInterval {
  for (let i = 0; i < 10; i++) {
    const seq = second * 10 + i;
    if (!lost.has(seq)) tracker.record(seq, seq * 1e8, seq * 1e8 + 1000, 100, 7, 1, 0);
  }
  const membership = {
    joinRequestedNs: -5,
    firstPacketNs: second === 0 ? 1000 : null,
    lastPacketNs: second * SECOND + 9e8,
    leaveRequestedNs: null,
  };
  return {
    streamId: 1,
    receipt: tracker.cut(),
    memberships: [membership],
    hostLostPackets: 0,
    socketStreams: 1,
    foreign: NO_FOREIGN,
  };
}

test("mergeIntervalReports: given any losses and any order of merging, then counts, gaps and maxima are those of all intervals", () => {
  const losses = fc.uniqueArray(fc.integer({ min: 1, max: 58 }), { maxLength: 30 });
  fc.assert(
    fc.property(losses, fc.integer({ min: 1, max: 4 }), (lost, cut) => {
      const tracker = new StreamTracker({ mediaRateBps: 8000, seesHostDrops: true });
      const parts = [0, 1, 2, 3, 4, 5].map((second) =>
        report(second, [listen(tracker, second, new Set(lost))], [sender(second * 10, 10, second)]),
      );
      const fold = (list: readonly IntervalReport[]): IntervalReport => list.reduce(mergeIntervalReports);
      const left = fold(parts);
      expect(mergeIntervalReports(fold(parts.slice(0, cut)), fold(parts.slice(cut)))).toEqual(left);
      const receipts = parts.flatMap((part) => part.listeners.flatMap((listener) => listener.receipt ?? []));
      expect(left.listeners[0]?.receipt).toEqual(receipts.reduce(mergeReceipts));
      expect(left).toMatchObject({ fromNs: 0, toNs: 6 * SECOND });
      expect(left.senders).toMatchObject([{ sentPackets: 60, firstSeq: 0, lastSeq: 59, pacing: { maxNs: 5 } }]);
      expect(left.host).toMatchObject({ udpRcvbufErrors: 6, interfaceRxDropped: null });
    }),
  );
});

test("mergeIntervalReports: given a leave and a new join, then each stay keeps a receipt of its own", () => {
  const tracker = new StreamTracker({ mediaRateBps: 8000, seesHostDrops: false });
  const first = listen(tracker, 0, new Set());
  const second: ListenerInterval = {
    ...listen(tracker, 1, new Set()),
    memberships: [{ ...(first.memberships[0] as (typeof first.memberships)[0]), joinRequestedNs: 1.5 * SECOND }],
  };
  const merged = mergeIntervalReports(report(0, [first]), report(1, [second]));
  expect(merged.listeners.map((entry) => entry.receipt?.firstCopies)).toEqual([10, 10]);
  expect([hasMembershipChange(report(1, [second])), hasMembershipChange(report(2, [second]))]).toEqual([true, false]);
});

test("mergeWatcherReports: given frames in two intervals, then runs join, counts add up and messages keep their order", () => {
  const watch = (first: number, last: number): WatcherReport => ({
    sinceNs: -1,
    streams: [
      {
        streamId: 1,
        frames: last - first + 1,
        firstNs: first,
        lastNs: last,
        ranges: [[first, last]],
        unlistedFrames: 0,
        asUnicastFrames: 1,
        taggedFrames: 0,
        foreignFrames: 0,
      },
    ],
    membership: [],
    unlistedMembership: 0,
    dropped: 1,
  });
  const merged = mergeWatcherReports(watch(0, 9), watch(10, 19));
  expect(merged?.streams).toMatchObject([
    { frames: 20, firstNs: 0, lastNs: 19, ranges: [[0, 19]], asUnicastFrames: 2 },
  ]);
  expect(merged?.dropped).toBe(2);
  expect(mergeWatcherReports(watch(0, 9), null)).toBeNull();
});
