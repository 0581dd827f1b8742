import { InterarrivalJitter } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { NOTHING_KNOWN, totalReceipt, track, trackEach } from "./track-arrivals.ts";

/**
 * Computed from the formula of RFC 3550, section 6.4.1: 90 kHz clock, a packet every 20 ms. Arrival in ms, J in timestamp
 * units, and J in ms.
 */
const series: readonly (readonly [arrivalMs: number, jitterTicks: number, jitterMs: number])[] = [
  [5, 0, 0],
  [25, 0, 0],
  [47, 11.25, 0.125],
  [66, 16.171875, 0.179688],
  [85, 20.786133, 0.230957],
  [109, 41.987, 0.466522],
  [125, 61.862812, 0.687365],
  [152, 97.371386, 1.081904],
  [165, 130.660675, 1.451785],
  [185, 122.494382, 1.361049],
];

test("jitter: given the series, then it is in timestamp units what the formula of RFC 3550 6.4.1 gives", () => {
  const jitter = new InterarrivalJitter();
  for (const [i, [arrivalMs, expected]] of series.entries()) {
    jitter.record(arrivalMs * 90 - i * 1800);
    expect(jitter.value).toBeCloseTo(expected, 5);
  }
});

test("jitter: given the series, then it is within one unit of the scaled form of RFC 3550 A.8", () => {
  const jitter = new InterarrivalJitter();
  let scaled = 0;
  let previous: number | null = null;
  for (const [i, [arrivalMs]] of series.entries()) {
    const transit = arrivalMs * 90 - i * 1800;
    jitter.record(transit);
    if (previous !== null) scaled += Math.abs(transit - previous) - ((scaled + 8) >> 4); // the code of appendix A.8
    previous = transit;
    expect(Math.abs(Math.floor(jitter.value) - (scaled >> 4))).toBeLessThanOrEqual(1);
  }
});

test("jitter: given the series as a stream, then each receipt tells it in nanoseconds", () => {
  const receipts = trackEach(series.map(([arrivalMs], seq) => ({ seq, arrivalMs, sentMs: 20 * seq })));
  for (const [i, [, , jitterMs]] of series.entries())
    expect((receipts[i]?.jitterNs ?? 0) / 1e6).toBeCloseTo(jitterMs, 5);
});

test("jitter: given the series, then its maximum outlasts its last value", () => {
  const receipt = track(series.map(([arrivalMs], seq) => ({ seq, arrivalMs, sentMs: 20 * seq })));
  const total = totalReceipt(receipt, NOTHING_KNOWN);
  expect(total.jitterMs).toBeCloseTo(1.361049, 5);
  expect(total.jitterMaxMs).toBeCloseTo(1.451785, 5);
});

test("jitter: given a transit that changes by 160 each time, then J after n steps is 160 (1 - (15/16)^n)", () => {
  const jitter = new InterarrivalJitter();
  jitter.record(0);
  const after = new Map<number, number>();
  for (let n = 1; n <= 32; n++) {
    jitter.record((n % 2) * 160);
    after.set(n, jitter.value);
  }
  for (const [n, value] of [
    [1, 10],
    [2, 19.375],
    [4, 36.403809],
    [8, 64.524884],
    [16, 103.028139],
    [32, 139.713794],
  ] as const) {
    expect(after.get(n)).toBeCloseTo(value, 5);
  }
});

test("jitter: given packets 2 and 3 swapped, then it follows the order of arrival", () => {
  // RFC 3550, section 6.4.1: "packets i and j"; in the order of arrival, by appendix A.8. Computed by hand.
  const arrivals = [
    [0, 10],
    [1, 30],
    [3, 70],
    [2, 71],
    [4, 90],
  ] as const;
  const receipts = trackEach(arrivals.map(([seq, arrivalMs]) => ({ seq, arrivalMs, sentMs: 20 * seq })));
  const ticks = receipts.slice(0, 5).map((receipt) => ((receipt.jitterNs ?? 0) * 90) / 1e6);
  for (const [i, value] of [0, 0, 0, 118.125, 228.867188].entries()) expect(ticks[i]).toBeCloseTo(value, 5);
});

test("jitter: given a lost packet alone, then it adds nothing", () => {
  // Arrival and sending time both jump (RFC 3550, section 6.4.1).
  const receipt = track([0, 1, 2, 4, 5].map((seq) => ({ seq, arrivalMs: 5 + 20 * seq, sentMs: 20 * seq })));
  expect(totalReceipt(receipt, NOTHING_KNOWN)).toMatchObject({ lost: 1, jitterMs: 0, jitterMaxMs: 0 });
});

test("jitter: given clocks 5000 s apart, then it is the same as with one clock", () => {
  const shifted = track(series.map(([arrivalMs], seq) => ({ seq, arrivalMs: arrivalMs + 5e6, sentMs: 20 * seq })));
  const same = track(series.map(([arrivalMs], seq) => ({ seq, arrivalMs, sentMs: 20 * seq })));
  expect(shifted.jitterNs).toBe(same.jitterNs);
});
