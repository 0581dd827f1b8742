import v8 from "node:v8";
import vm from "node:vm";
import { mergeReceipts, type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { totalReceipt } from "./track-arrivals.ts";

v8.setFlagsFromString("--expose-gc");
const collect: () => void = vm.runInNewContext("gc");

/**
 * A day of virtual time at 100 packets/s with each of its 86,400 intervals cut and merged: 8.64 million calls. The full
 * rate of 10,000 packets/s for a day is 864 million calls and takes minutes: `node tests/bench/measure.bench.mjs --day`.
 */
test("24 hours: given 86,400 cuts and a fixed pattern of loss, copies and reordering, then all totals are exact and memory is bounded", () => {
  const SECONDS = 86_400;
  const RATE = 100;
  const INTERVAL_NS = 1e7;
  const tracker = new StreamTracker({ mediaRateBps: 1_052_800, seesHostDrops: true });
  let total: StreamReceipt | null = null;
  let heapAtHour1 = 0;
  for (let second = 0; second < SECONDS; second++) {
    for (let i = 0; i < RATE; i++) {
      const seq = second * RATE + i;
      const sentNs = seq * INTERVAL_NS;
      if (i === 20 || i === 21 || i === 50) continue; // a gap of 2; number 50 comes late
      tracker.record(seq, sentNs, sentNs + 1e6, 1316, 9, 8, 34);
      if (i === 53) tracker.record(seq - 3, sentNs - 3 * INTERVAL_NS, sentNs + 1e6, 1316, 9, 8, 34);
      if (i === 70) tracker.record(seq, sentNs, sentNs + 1e6, 1316, 9, 8, 34);
    }
    const receipt: StreamReceipt = second === SECONDS - 1 ? tracker.finish() : tracker.cut();
    total = total === null ? receipt : mergeReceipts(total, receipt);
    if (second === 3600) heapAtHour1 = heapUsed();
  }
  const heapGrowthBytes = heapUsed() - heapAtHour1;
  if (total === null) throw new Error("no receipt");

  expect(total).toMatchObject({
    received: SECONDS * (RATE - 1), // less 2 lost, and a copy more
    firstCopies: SECONDS * (RATE - 2),
    lost: SECONDS * 2,
    lossPeriods: SECONDS,
    longestLossPeriod: 2,
    duplicates: SECONDS,
    duplicatedPackets: SECONDS,
    reordered: SECONDS,
    reorderExtentSum: SECONDS * 3, // three later numbers came before it
    reorderExtentMax: 3,
    latePackets: 0,
    receivedBytes: SECONDS * (RATE - 1) * 1316,
    longestGap: { startNs: 191e6, durationNs: 30e6 },
  });
  expect(total.pdvNs.count).toBe(SECONDS * (RATE - 2));
  expect(total.spans.length).toBe(1);
  const [span] = total.spans;
  expect(span?.lost.length).toBe(16_384); // the bound of a merged receipt; the rest is coarse, and nothing is missing
  expect(16_384 * 2 + (span?.coarse ?? []).reduce((sum, range) => sum + range[5], 0)).toBe(SECONDS * 2);
  expect(
    totalReceipt(total, { sentPackets: SECONDS * RATE, firstExpectedSeq: 0, intervalNs: INTERVAL_NS }),
  ).toMatchObject({
    lossRatio: 0.02,
    expected: SECONDS * RATE,
    // Gaps are no longer known one by one, but they are counted.
    lossPattern: { periods: SECONDS, longestPeriod: 2, medianDistance: null, bursts: null },
  });

  // From the first hour on only the lists grow, and those have bounds; a number for each packet would be 69 MB.
  expect(heapGrowthBytes).toBeLessThan(8e6);
}, 120_000);

/** Of what is still in use. */
function heapUsed(): number {
  collect();
  return process.memoryUsage().heapUsed;
}
