import fc from "fast-check";
import { expect, test } from "vitest";
import { summariseBurstGaps } from "./burst-gap.ts";
import type { StreamReceipt } from "./stream-receipt.ts";
import { FIRST_COPY, HELD, LATE, REORDER_TIME_NS, StreamTracker } from "./stream-tracker.ts";

const MS = 1e6;
const newTracker = (): StreamTracker => new StreamTracker({ mediaRateBps: null, seesHostDrops: true });

interface Arrival {
  readonly seq: number;
  readonly arrivalNs: number;
}

/** The same rules the slow way: a record of every number, extents and clusters by their definitions. */
function plainly(arrivals: readonly Arrival[]): {
  readonly received: ReadonlySet<number>;
  readonly lostRanges: readonly (readonly [number, number])[];
  readonly counts: Readonly<Record<string, number>>;
} {
  const WINDOW = 4096;
  const received = new Set<number>();
  const copied = new Set<number>();
  const shownNs = new Map<number, number>();
  const order: Arrival[] = [];
  const counts = {
    duplicates: 0,
    latePackets: 0,
    reordered: 0,
    reorderExtentSum: 0,
    reorderExtentMax: 0,
    reorderLateMaxNs: 0,
  };
  let base = arrivals[0]?.seq ?? 0;
  let next = base;
  const baseNs = arrivals[0]?.arrivalNs ?? 0;
  for (const { seq, arrivalNs } of arrivals) {
    const isBelowBase = seq < base && arrivalNs - baseNs <= REORDER_TIME_NS && base >= next - WINDOW;
    if (isBelowBase && seq >= next - WINDOW) {
      for (let n = seq; n < base; n++) shownNs.set(n, baseNs);
      base = seq;
    }
    for (let n = next; n < seq; n++) shownNs.set(n, arrivalNs);
    if (seq < next - WINDOW || (seq < next && !received.has(seq) && !isMissing(seq, arrivalNs))) counts.latePackets++;
    else if (received.has(seq)) {
      counts.duplicates++;
      copied.add(seq);
    } else {
      received.add(seq);
      order.push({ seq, arrivalNs });
      if (seq < next) {
        counts.reordered++;
        const earliest = order.findIndex((earlier) => earlier.seq > seq); // RFC 4737, section 4.2.3
        const extent = order.length - 1 - earliest;
        counts.reorderExtentSum += extent;
        counts.reorderExtentMax = Math.max(counts.reorderExtentMax, extent);
        const lateNs = arrivalNs - (order[earliest]?.arrivalNs ?? Number.NaN); // RFC 4737, section 4.3.3
        counts.reorderLateMaxNs = Math.max(counts.reorderLateMaxNs, lateNs);
      }
    }
    next = Math.max(next, seq + 1);
  }
  function isMissing(seq: number, arrivalNs: number): boolean {
    return arrivalNs - (shownNs.get(seq) ?? Number.NEGATIVE_INFINITY) <= REORDER_TIME_NS;
  }
  const lostRanges: [number, number][] = [];
  for (let n = base; n < next; n++) {
    if (received.has(n)) continue;
    const open = lostRanges.at(-1);
    if (open !== undefined && open[0] + open[1] === n) open[1]++;
    else lostRanges.push([n, 1]);
  }
  return { received, lostRanges, counts: { ...counts, firstCopies: received.size, duplicatedPackets: copied.size } };
}

const arrivals = fc
  .array(
    fc.record({
      intervalNs: fc.oneof({ weight: 6, arbitrary: fc.constant(MS) }, fc.integer({ min: 0, max: 400 * MS })),
      skipped: fc.oneof(
        { weight: 40, arbitrary: fc.constant(0) },
        { weight: 5, arbitrary: fc.integer({ min: 1, max: 30 }) },
        { weight: 1, arbitrary: fc.integer({ min: 3900, max: 5000 }) },
      ),
      copies: fc.oneof({ weight: 6, arbitrary: fc.constant(1) }, fc.integer({ min: 0, max: 3 })),
      delayNs: fc.oneof({ weight: 4, arbitrary: fc.constant(0) }, fc.integer({ min: 0, max: 1500 * MS })),
    }),
    { minLength: 1, maxLength: 200, size: "max" },
  )
  .map((steps): Arrival[] => {
    let seq = 50;
    let sentNs = 0;
    const all: Arrival[] = [];
    for (const one of steps) {
      sentNs += one.intervalNs;
      seq += one.skipped;
      for (let copy = 1; copy <= one.copies; copy++) all.push({ seq, arrivalNs: sentNs + one.delayNs * copy });
      seq++;
    }
    return all.sort((a, b) => a.arrivalNs - b.arrivalNs);
  });

function track(list: readonly Arrival[]): StreamReceipt {
  const tracker = newTracker();
  for (const { seq, arrivalNs } of list) tracker.record(seq, 0, arrivalNs, 100, 1, 1, 0);
  return tracker.finish();
}

test("StreamTracker: given any arrivals, then its counts and lost ranges are those of the plain record", () => {
  const met = { lost: 0, reordered: 0, late: 0, duplicates: 0 };
  fc.assert(
    fc.property(arrivals, (list) => {
      const receipt = track(list);
      const plain = plainly(list);
      expect(receipt).toMatchObject(plain.counts);
      expect(receipt.spans.flatMap((span) => span.lost.map((range) => [range[0], range[1]]))).toEqual(plain.lostRanges);
      expect(receipt.lost).toBe(plain.lostRanges.reduce((sum, [, count]) => sum + count, 0));
      expect(receipt.lossPeriods).toBe(plain.lostRanges.length);
      expect(receipt.received).toBe(receipt.firstCopies + receipt.duplicates + receipt.latePackets);
      const judged = receipt.spans.reduce((sum, span) => sum + span.endSeq - span.firstSeq, 0);
      expect(judged).toBe(receipt.firstCopies + receipt.lost);
      met.lost += receipt.lost;
      met.reordered += receipt.reordered;
      met.late += receipt.latePackets;
      met.duplicates += receipt.duplicates;
    }),
    { numRuns: 300 },
  );
  for (const count of Object.values(met)) expect(count).toBeGreaterThan(100);
});

test("StreamTracker: given any arrivals, then bursts and gaps are those of the pattern read packet by packet", () => {
  fc.assert(
    fc.property(arrivals, (list) => {
      const receipt = track(list);
      const { lostRanges } = plainly(list);
      const lost = lostRanges.flatMap(([first, count]) => Array.from({ length: count }, (_, i) => first + i));
      const bursts: number[][] = [];
      for (const seq of lost) {
        const open = bursts.at(-1);
        if (open !== undefined && seq - (open.at(-1) ?? seq) <= 16) open.push(seq);
        else bursts.push([seq]);
      }
      const real = bursts.filter((burst) => burst.length > 1);
      const summary = summariseBurstGaps(receipt.spans);
      expect(summary.bursts).toBe(real.length);
      const burstPackets = real.reduce((sum, burst) => sum + (burst.at(-1) ?? 0) - (burst[0] ?? 0) + 1, 0);
      if (real.length > 0) expect(summary.meanBurstPackets).toBeCloseTo(burstPackets / real.length, 9);
    }),
    { numRuns: 200 },
  );
});

test("StreamTracker: given a packet exactly at the end of the reorder time, then it is in time; a nanosecond later, late", () => {
  for (const [extraNs, judgement, lost] of [
    [0, FIRST_COPY, 0],
    [1, LATE, 1],
  ] as const) {
    const tracker = newTracker();
    tracker.record(0, 0, 0, 100, 1, 1, 0);
    tracker.record(2, 0, 10 * MS, 100, 1, 1, 0);
    expect(tracker.record(1, 0, 10 * MS + REORDER_TIME_NS + extraNs, 100, 1, 1, 0)).toBe(judgement);
    expect(tracker.finish()).toMatchObject({ lost, latePackets: lost, reordered: 1 - lost });
  }
});

test("StreamTracker: given a number that is 4096 behind the next, then it may still come; 4097 behind, it is late", () => {
  for (const [next, judgement] of [
    [4097, FIRST_COPY],
    [4098, LATE],
  ] as const) {
    const tracker = newTracker();
    tracker.record(0, 0, 0, 100, 1, 1, 0);
    tracker.record(2, 0, 1, 100, 1, 1, 0);
    tracker.record(next - 1, 0, 2, 100, 1, 1, 0);
    expect(tracker.record(1, 0, 3, 100, 1, 1, 0)).toBe(judgement);
  }
});

test("StreamTracker: given a cut inside the reorder window, then the missing number is held back, and told once settled", () => {
  const tracker = newTracker();
  tracker.record(0, 0, 0, 100, 1, 1, 0);
  tracker.record(1, 0, 1100 * MS, 100, 1, 1, 0);
  tracker.record(3, 0, 1200 * MS, 100, 1, 1, 0);
  const early = tracker.cut();
  expect(early).toMatchObject({ lost: 0, isFirst: true, isFinal: false });
  expect(early.spans).toMatchObject([{ firstSeq: 0, endSeq: 2, lost: [] }]);
  tracker.record(4, 0, 2300 * MS, 100, 1, 1, 0);
  const later = tracker.cut();
  expect(later).toMatchObject({ lost: 1, lossPeriods: 1, isFirst: false });
  expect(later.spans).toMatchObject([{ firstSeq: 2, endSeq: 5, lost: [[2, 1, 1100 * MS, 100 * MS, 0]] }]);
});

test("StreamTracker: given a sender that restarts from 0, then nothing is lost and every packet of both is measured", () => {
  const tracker = newTracker();
  for (let i = 0; i < 100; i++) tracker.record(5000 + i, i * MS, i * MS, 100, 7, 1, 0);
  for (let i = 0; i < 400; i++) tracker.record(i, i * MS, (300 + i) * MS, 100, 8, 1, 0);
  const receipt = tracker.finish();
  expect(receipt).toMatchObject({ senderRestarts: 1, otherSenderPackets: 0, lost: 0, firstCopies: 500 });
  expect(receipt.spans).toMatchObject([
    { senderId: 7, firstSeq: 5000, endSeq: 5100 },
    { senderId: 8, firstSeq: 0, endSeq: 400 },
  ]);
});

test("StreamTracker: given a restart within 10 ms, then its first packets are held, and measured once the old is silent", () => {
  const tracker = newTracker();
  for (let i = 0; i < 100; i++) tracker.record(i, i * MS, i * MS, 100, 7, 1, 0);
  expect(tracker.record(0, 0, 109 * MS, 100, 8, 1, 0)).toBe(HELD);
  for (let i = 1; i < 1000; i++) tracker.record(i, i * MS, (109 + i) * MS, 100, 8, 1, 0);
  expect(tracker.finish()).toMatchObject({
    senderRestarts: 1,
    otherSenderPackets: 0,
    lost: 0,
    firstCopies: 1100,
    received: 1100,
  });
});

test("StreamTracker: given a second sender interleaved, then it is counted and the first alone is measured", () => {
  const tracker = newTracker();
  for (let i = 0; i < 3000; i++) {
    tracker.record(i, i * MS, i * MS, 100, 7, 1, 0);
    if (i >= 1000 && i < 2000) tracker.record(i - 1000, i * MS, i * MS + 1, 500, 8, 1, 0);
  }
  const receipt = tracker.finish();
  expect(receipt).toMatchObject({ senderRestarts: 0, otherSenderPackets: 1000, lost: 0, firstCopies: 3000 });
  expect(receipt.receivedBytes).toBe(300_000);
});

test("StreamTracker: given two senders in bursts of 500 at 1 s, then the second is no restart of the first", () => {
  const tracker = newTracker();
  for (let burst = 0; burst < 10; burst++) {
    for (let i = 0; i < 500; i++) {
      tracker.record(burst * 500 + i, 0, burst * 1000 * MS + i, 100, 7, 1, 0);
    }
    if (burst < 2) continue; // by now the first one's own silence of a second is known
    for (let i = 0; i < 500; i++) {
      tracker.record(burst * 500 + i, 0, burst * 1000 * MS + 500 * MS + i, 100, 8, 1, 0);
    }
  }
  tracker.record(5000, 0, 10_000 * MS, 100, 7, 1, 0);
  expect(tracker.finish()).toMatchObject({ senderRestarts: 0, otherSenderPackets: 4000, lost: 0 });
});

test("StreamTracker: given host drops before a hole of 10, then as many of its numbers are host loss, and no more", () => {
  for (const [drops, hostLost] of [
    [4, 4],
    [25, 10],
  ]) {
    const tracker = newTracker();
    tracker.record(0, 0, 0, 100, 1, 1, 0);
    tracker.noteHostDrops(drops ?? 0, 10 * MS);
    tracker.record(11, 0, 10 * MS, 100, 1, 1, 0);
    expect(tracker.finish()).toMatchObject({ lost: 10, hostDrops: drops, hostLost });
  }
});

test("StreamTracker: given host drops at the end of one second, then a hole early in the next is put down to them", () => {
  const tracker = newTracker();
  tracker.record(0, 0, 0, 100, 1, 1, 0);
  tracker.noteHostDrops(10, 999 * MS);
  tracker.record(1, 0, 999 * MS, 100, 1, 1, 0);
  tracker.record(12, 0, 1001 * MS, 100, 1, 1, 0);
  expect(tracker.finish()).toMatchObject({ lost: 10, hostLost: 10 });
});

test("StreamTracker: given 8 host drops before a hole of 10 and its third number late, then all 8 stay host loss", () => {
  const tracker = newTracker();
  tracker.record(0, 0, 0, 100, 1, 1, 0);
  tracker.noteHostDrops(8, 10 * MS);
  tracker.record(11, 0, 10 * MS, 100, 1, 1, 0);
  tracker.record(3, 0, 11 * MS, 100, 1, 1, 0);
  const receipt = tracker.finish();
  expect(receipt).toMatchObject({ lost: 9, hostLost: 8 });
  expect(receipt.spans[0]?.lost.map(([firstSeq, count, , , hostLost]) => [firstSeq, count, hostLost])).toEqual([
    [1, 2, 2],
    [4, 7, 6],
  ]);
});

test("StreamTracker: given host drops two seconds before a hole, then the hole is not put down to them", () => {
  const tracker = newTracker();
  tracker.record(0, 0, 0, 100, 1, 1, 0);
  tracker.noteHostDrops(10, 900 * MS);
  tracker.record(1, 0, 900 * MS, 100, 1, 1, 0);
  tracker.record(12, 0, 2000 * MS, 100, 1, 1, 0);
  expect(tracker.finish()).toMatchObject({ lost: 10, hostLost: 0 });
});

test("StreamTracker: given a platform that tells no drops, TTL or DSCP, then they are null or empty", () => {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  tracker.record(0, 0, 0, 100, 1, -1, -1);
  expect(tracker.finish()).toMatchObject({
    hostDrops: null,
    hostLost: null,
    ttlMin: null,
    ttlMax: null,
    dscpSeen: [],
    delayFactorMaxNs: null,
  });
});

test("StreamTracker: given more gaps than an interval holds, then all counts stay exact and the rest turns coarse", () => {
  const tracker = newTracker();
  const gaps = 5000;
  for (let i = 0; i <= gaps; i++) tracker.record(2 * i, 0, i * MS, 100, 1, 1, 0);
  const receipt = tracker.finish();
  const [span] = receipt.spans;
  expect(receipt).toMatchObject({ lost: gaps, lossPeriods: gaps });
  expect(span?.lost.length).toBe(2048);
  expect(span?.coarse.length).toBe(256);
  expect((span?.lost.length ?? 0) + (span?.coarse ?? []).reduce((sum, range) => sum + range[5], 0)).toBe(gaps);
  // Every lost number lies in a range, and coarse ranges neither overlap nor touch the exact ones.
  expect(span?.coarse[0]?.[0]).toBe(2 * 2048 + 1);
  for (const [i, range] of (span?.coarse ?? []).entries()) {
    const next = span?.coarse[i + 1];
    if (next !== undefined) expect(range[0] + range[1]).toBeLessThan(next[0]);
  }
});

test("StreamTracker: given a stall of the source of 1 s with no number missing, then it is silence and no gap", () => {
  const tracker = newTracker();
  for (let i = 0; i < 20; i++) tracker.record(i, i * MS, (i < 10 ? i : i + 1000) * MS, 100, 1, 1, 0);
  expect(tracker.finish()).toMatchObject({
    lost: 0,
    longestGap: null,
    longestSilence: { startNs: 9 * MS, durationNs: 1001 * MS },
  });
});
