import { mergeReceipts, StreamTracker } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { receiptDetails } from "../../controller/src/conclude/receipt-details.ts";
import { NOTHING_KNOWN, stayNumbers, totalReceipt, track, trackOrder, trackPattern } from "./track-arrivals.ts";

test("loss ratio: given the sample of RFC 7680, then it is 0.2", () => {
  // RFC 7680, section 4.1: singletons 0, 0, 1, 0, 0
  expect(totalReceipt(trackPattern("00100", "1"), NOTHING_KNOWN)).toMatchObject({
    lost: 1,
    expected: 5,
    lossRatio: 0.2,
  });
});

test("loss ratio: given no packet and no account of the source, then it is unknown, not 0", () => {
  // RFC 7680, section 4.1: undefined for an empty sample
  expect(totalReceipt(trackOrder(), NOTHING_KNOWN)).toMatchObject({
    received: 0,
    expected: null,
    lost: null,
    lossRatio: null,
    hostLost: null,
    longestGap: null,
    lossPattern: null,
    jitterMs: null,
    pdv: null,
    gaps: [],
  });
});

test("loss ratio: given no packet of a source that sent, and an unknown start, then it is unknown", () => {
  expect(totalReceipt(trackOrder(), { ...NOTHING_KNOWN, sentPackets: 50 })).toMatchObject({
    lost: null,
    lossRatio: null,
  });
});

test("loss ratio: given no packet of the 40 that had to come, then all are lost in one gap", () => {
  const source = { ...NOTHING_KNOWN, sentPackets: 50, firstExpectedSeq: 10, intervalNs: 2e6 };
  expect(totalReceipt(trackOrder(), source)).toMatchObject({
    lost: 40,
    lossRatio: 1,
    gaps: [{ firstSeq: 10, count: 40, startMs: null, durationMs: 80 }],
    lossPattern: { periods: 1, longestPeriod: 40, bursts: 1, burstLossRatio: 1, meanGapPackets: null },
  });
});

test("loss at the ends: given numbers 3 to 6 of 0 to 9 received, then 3 are lost before them and 3 after", () => {
  // RFC 7680, section 2.4: not received within Tmax is lost; the source's count says what was sent.
  const source = { ...NOTHING_KNOWN, sentPackets: 10, firstExpectedSeq: 0, intervalNs: 1e6 };
  const receipt = track([3, 4, 5, 6].map((seq) => ({ seq, arrivalMs: 100 + seq, sentMs: seq })));
  expect(totalReceipt(receipt, source)).toMatchObject({
    lost: 6,
    expected: 10,
    lossRatio: 0.6,
    lossPattern: { beforeFirst: 3, afterLast: 3, periods: 2, longestPeriod: 3 },
    gaps: [
      { firstSeq: 0, count: 3, startMs: 100, durationMs: 3 },
      { firstSeq: 7, count: 3, startMs: 106, durationMs: 3 },
    ],
  });
});

test("a leave and a new join: given numbers 0-9 and 50-59 received, then those between are not lost", () => {
  const first = trackOrder(...Array.from({ length: 10 }, (_, i) => i));
  const second = trackOrder(...Array.from({ length: 10 }, (_, i) => 50 + i));
  const stays = [
    stayNumbers(first, { sentPackets: 10, firstExpectedSeq: 0, intervalNs: 1e6 }),
    stayNumbers(second, { sentPackets: 61, firstExpectedSeq: 48, intervalNs: 1e6 }),
  ];
  const both = mergeReceipts(first, second);
  expect([both.firstCopies, both.lost]).toEqual([20, 0]);
  expect(stays.map(({ missing }) => missing.map(({ firstSeq, count }) => [firstSeq, count]))).toEqual([
    [],
    [
      [48, 2],
      [60, 1],
    ],
  ]);
  expect(receiptDetails(both, stays).lossPattern).toMatchObject({ periods: 2, beforeFirst: 2, afterLast: 1 });
});

test("a leave and a new join: given loss up to the leave and from the join on, then these are two gaps", () => {
  const first = trackOrder(0, 1, 2);
  const second = trackOrder(15, 16);
  const stays = [
    stayNumbers(first, { sentPackets: 10, firstExpectedSeq: 0, intervalNs: 1e6 }),
    stayNumbers(second, { sentPackets: 17, firstExpectedSeq: 10, intervalNs: 1e6 }),
  ];
  expect(receiptDetails(mergeReceipts(first, second), stays).lossPattern).toMatchObject({
    periods: 2,
    longestPeriod: 7,
    medianDistance: null, // no distance reaches from one stay into the next
    bursts: 2,
    meanBurstPackets: 6,
  });
});

test("host loss: given 10 missing numbers and 6 socket drops before them, then the network lost 4", () => {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: true });
  tracker.record(0, 0, 0, 100, 1, 1, 0);
  tracker.noteHostDrops(6, 5e6);
  tracker.record(11, 0, 5e6, 100, 1, 1, 0);
  expect(totalReceipt(tracker.finish(), NOTHING_KNOWN)).toMatchObject({
    expected: 12,
    lost: 4,
    hostLost: 6,
    lossRatio: 4 / 12,
  });
});

test("host loss: given a platform that tells no drops, then host loss is unknown", () => {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  tracker.record(0, 0, 0, 100, 1, 1, 0);
  tracker.record(2, 0, 5e6, 100, 1, 1, 0);
  expect(totalReceipt(tracker.finish(), NOTHING_KNOWN)).toMatchObject({ lost: 1, hostLost: null });
});

test("TTL: given one that changed on the way, then the least and the greatest are told; given a steady one, the same twice", () => {
  const receive = (...ttls: readonly number[]) => {
    const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
    for (const [seq, ttl] of ttls.entries()) tracker.record(seq, 0, seq, 100, 1, ttl, 0);
    return tracker.finish();
  };
  expect(receive(14, 14)).toMatchObject({ ttlMin: 14, ttlMax: 14 });
  expect(receive(14, 13)).toMatchObject({ ttlMin: 13, ttlMax: 14 });
});
