import fc from "fast-check";
import { build } from "hdr-histogram-js";
import { expect, test } from "vitest";
import { type HistogramData, LogHistogram, mergeHistograms, percentile } from "./log-histogram.ts";

function fill(values: readonly number[]): HistogramData {
  const histogram = new LogHistogram();
  for (const value of values) histogram.record(value);
  return histogram.take();
}

/** Whole numbers over the whole range of sizes. */
const size = fc
  .tuple(fc.integer({ min: 0, max: 40 }), fc.double({ min: 0.5, max: 1, noNaN: true }))
  .map(([bits, share]) => Math.floor(2 ** bits * share));
const signed = fc.tuple(size, fc.boolean()).map(([value, isNegative]) => (isNegative ? 0 - value : value));
const RATIOS = [0.01, 0.25, 0.5, 0.9, 0.99, 0.999];

test("LogHistogram: given any values, then each percentile is within 1/128 of the sorted value (nearest rank)", () => {
  fc.assert(
    fc.property(fc.array(signed, { minLength: 1, maxLength: 300 }), (values) => {
      const data = fill(values);
      const sorted = [...values].sort((a, b) => a - b);
      for (const ratio of RATIOS) {
        const exact = sorted[Math.max(0, Math.ceil(ratio * sorted.length) - 1)] ?? 0;
        expect(Math.abs((percentile(data, ratio) ?? Number.NaN) - exact)).toBeLessThanOrEqual(Math.abs(exact) / 128);
      }
      expect([data.min, data.max]).toEqual([sorted[0], sorted.at(-1)]);
      expect(data.sum).toBe(values.reduce((sum, value) => sum + value, 0));
    }),
  );
});

test("LogHistogram: given any values, then its percentiles agree with hdr-histogram-js within both precisions", () => {
  fc.assert(
    fc.property(fc.array(size, { minLength: 1, maxLength: 300 }), (values) => {
      const reference = build({
        lowestDiscernibleValue: 1,
        highestTrackableValue: 2 ** 42,
        numberOfSignificantValueDigits: 3,
      });
      for (const value of values) reference.recordValue(value);
      const data = fill(values);
      for (const ratio of RATIOS) {
        const theirs = reference.getValueAtPercentile(ratio * 100);
        expect(Math.abs((percentile(data, ratio) ?? Number.NaN) - theirs)).toBeLessThanOrEqual(
          theirs / 128 + theirs / 1000,
        );
      }
    }),
    { numRuns: 50 },
  );
});

test("LogHistogram: given values in any two parts, then the merge is the histogram of all", () => {
  fc.assert(
    fc.property(fc.array(signed), fc.array(signed), (a, b) => {
      expect(mergeHistograms(fill(a), fill(b))).toEqual(fill([...a, ...b]));
    }),
  );
});

test("LogHistogram: given values below 128, then they are kept exactly", () => {
  const data = fill([0, 1, 63, 64, 127, 127, -127]);
  expect(data.bins).toEqual([
    [-127, 1],
    [0, 1],
    [1, 1],
    [63, 1],
    [64, 1],
    [127, 2],
  ]);
});

test("LogHistogram: given nothing, then percentiles are unknown", () => {
  expect(percentile(fill([]), 0.5)).toBeNull();
  expect(fill([])).toEqual({ count: 0, sum: 0, min: null, max: null, bins: [] });
});

test("LogHistogram: given values past its range, then they share a bucket and the extremes stay exact", () => {
  const data = fill([2 ** 50, 2 ** 52]);
  expect(data.bins.length).toBe(1);
  expect(data).toMatchObject({ min: 2 ** 50, max: 2 ** 52, count: 2 });
});
