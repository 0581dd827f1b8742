import { mergeSettled, StreamTracker, settleEnds, summariseReceipt } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { NOTHING_KNOWN, totalReceipt, track, trackOrder, trackPattern } from "./track-arrivals.ts";

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
    longestGapMs: null,
    lossPeriods: null,
    burstGap: null,
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
    tailLost: 40,
    gaps: [{ firstSeq: 10, count: 40, startMs: null, durationMs: 80 }],
    longestGapMs: 80,
    burstGap: { bursts: 1, burstDensity: 1, gaps: 0 },
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
    headLost: 3,
    tailLost: 3,
    lossPeriods: 2,
    longestLossPeriod: 3,
    gaps: [
      { firstSeq: 0, count: 3, startMs: 100, durationMs: 3 },
      { firstSeq: 7, count: 3, startMs: 106, durationMs: 3 },
    ],
    longestGapMs: 3,
  });
});

test("loss at the ends: given no account of the source, then the ends are unknown and nothing is made of them", () => {
  expect(totalReceipt(trackOrder(3, 4, 5, 6), NOTHING_KNOWN)).toMatchObject({
    lost: 0,
    lossRatio: 0,
    headLost: null,
    tailLost: null,
    longestGapMs: 0,
  });
});

test("loss at the ends: given an unknown packet interval, then the longest gap is unknown, not the longest known one", () => {
  const source = { ...NOTHING_KNOWN, sentPackets: 100 };
  expect(totalReceipt(trackOrder(0, 1, 3), source)).toMatchObject({ lost: 97, longestGapMs: null });
});

test("loss at the ends: given a listener that is not finished, then its tail is unknown", () => {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  tracker.record(0, 0, 0, 100, 1, 1, 0);
  tracker.record(1, 0, 2e9, 100, 1, 1, 0);
  const source = { ...NOTHING_KNOWN, sentPackets: 100, firstExpectedSeq: 0 };
  expect(totalReceipt(tracker.cut(), source)).toMatchObject({ lost: 0, headLost: 0, tailLost: null });
});

test("a leave and a new join: given numbers 0-9 and 50-59 received, then those between are not lost", () => {
  const source = { ...NOTHING_KNOWN, firstExpectedSeq: 0, sentPackets: 10, intervalNs: 1e6 };
  const first = settleEnds(trackOrder(...Array.from({ length: 10 }, (_, i) => i)), source);
  const again = { ...source, firstExpectedSeq: 48, sentPackets: 61 };
  const second = settleEnds(trackOrder(...Array.from({ length: 10 }, (_, i) => 50 + i)), again);
  const both = mergeSettled(first, second);
  expect(both.firstCopies).toBe(20);
  expect(summariseReceipt(both)).toMatchObject({
    expected: 23,
    lost: 3,
    headLost: 2,
    tailLost: 1,
  });
  // A second membership without a packet, of which nobody knows what had to come, adds nothing.
  const nothing = settleEnds(trackOrder(), NOTHING_KNOWN);
  expect(summariseReceipt(mergeSettled(first, nothing))).toMatchObject({ expected: 10, lost: 0 });
});

test("a leave and a new join: given loss up to the leave and from the join on, then these are two gaps", () => {
  const source = { ...NOTHING_KNOWN, firstExpectedSeq: 0, sentPackets: 10, intervalNs: 1e6 };
  const first = settleEnds(trackOrder(0, 1, 2), source);
  const second = settleEnds(trackOrder(15, 16), { ...source, firstExpectedSeq: 10, sentPackets: 17 });
  expect(summariseReceipt(mergeSettled(first, second))).toMatchObject({
    lost: 12,
    lossPeriods: 2,
    gaps: [
      { firstSeq: 3, count: 7 },
      { firstSeq: 10, count: 5 },
    ],
    burstGap: { bursts: 2, meanBurstPackets: 6 },
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
