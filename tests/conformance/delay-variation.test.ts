import { PDV_WINDOW_NS, percentile, type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { NOTHING_KNOWN, totalReceipt } from "./track-arrivals.ts";

/** Delays in nanoseconds, small enough to have a bucket each, so that whole distributions can be compared. */
function receive(delays: readonly (number | null)[], intervalNs = 1e6): StreamReceipt {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  for (const [seq, delayNs] of delays.entries()) {
    if (delayNs !== null) tracker.record(seq, seq * intervalNs, seq * intervalNs + delayNs, 100, 1, 1, 0);
  }
  return tracker.finish();
}

/** RFC 5481, figure 1, in units of 1. */
const figure = [20, 10, 20, 25, 20];

test("PDV: given the delays of RFC 5481 figure 1, then it is 10, 0, 10, 15, 10, range 15", () => {
  const { pdvNs } = receive(figure);
  expect(pdvNs.bins).toEqual([
    [0, 1],
    [10, 3],
    [15, 1],
  ]);
  expect(pdvNs.max).toBe(15);
});

/** Own example, computed by hand from RFC 5481, section 4.2; packet 3 is lost. */
const withLoss = [20, 22, null, 19, 31, 20, 20, 45, 21, 20];

test("PDV: given a lost packet, then the 9 others have median 1, mean 5.222 and maximum 26", () => {
  const { pdvNs } = receive(withLoss);
  expect(pdvNs.count).toBe(9);
  expect(percentile(pdvNs, 0.5)).toBe(1);
  expect(pdvNs.sum / pdvNs.count).toBeCloseTo(5.222222, 6);
  expect(pdvNs.max).toBe(26);
});

test("delay variation: given clocks 100 s apart, then it is the same as with one clock", () => {
  // RFC 5481, section 4: a constant offset cancels.
  const same = receive(figure);
  const apart = receive(figure.map((delay) => delay + 1e11));
  expect(apart.pdvNs).toEqual(same.pdvNs);
});

test("PDV: given clocks that drift by 20 millionths for an hour, then it stays within what they drift in a window", () => {
  const drift = 20e-6;
  const delays = Array.from({ length: 36_000 }, (_, seq) => Math.round(1e6 + seq * 1e8 * drift));
  const { pdv } = totalReceipt(receive(delays, 1e8), NOTHING_KNOWN);
  expect(pdv?.maxMs).toBeLessThanOrEqual((PDV_WINDOW_NS * drift) / 1e6); // 0.2 ms, not the 72 ms of the hour
});

test("PDV: given delays of 1 to 2 ms, then percentiles are within 1/64 of the sorted delays", () => {
  const delays = Array.from({ length: 9000 }, (_, seq) => 1e6 + ((seq * 7919) % 1_000_003));
  const sorted = delays.map((delay) => delay - Math.min(...delays)).sort((a, b) => a - b);
  const { pdvNs } = receive(delays);
  for (const ratio of [0.5, 0.9, 0.99, 0.999]) {
    const exact = sorted[Math.ceil(ratio * sorted.length) - 1] ?? 0;
    expect(Math.abs((percentile(pdvNs, ratio) ?? 0) - exact)).toBeLessThanOrEqual(exact / 64);
  }
});

test("PDV: given a window that begins with an outlier of 50 ms, then the small delays after it keep their precision", () => {
  // 20 s at 1000 packets/s: the second window's first packet is 50 ms late, all others vary by a microsecond.
  const delays = Array.from({ length: 20_000 }, (_, seq) => (seq === 10_000 ? 51e6 : 1e6 + ((seq * 7919) % 1009)));
  const sorted = delays.map((delay) => delay - 1e6).sort((a, b) => a - b);
  const median = sorted[10_000] ?? 0;
  expect(Math.abs((percentile(receive(delays).pdvNs, 0.5) ?? 0) - median)).toBeLessThanOrEqual(median / 64);
});
