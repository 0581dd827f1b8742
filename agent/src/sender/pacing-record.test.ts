import fc from "fast-check";
import { expect, test } from "vitest";
import { PacingRecord } from "./pacing-record.ts";

test("PacingRecord: given any samples, then percentiles are the nearest rank's, up to 1/32 too high, and the maximum is exact", () => {
  fc.assert(
    fc.property(fc.array(fc.nat({ max: 4e9 }), { minLength: 1, maxLength: 300 }), (samples) => {
      const record = new PacingRecord();
      for (const sample of samples) record.record(sample);
      const sorted = samples.toSorted((a, b) => a - b);
      const rank = (share: number): number => sorted[Math.ceil(share * sorted.length) - 1] ?? 0; // nearest-rank definition
      const report = record.report();
      expect(report).toMatchObject({ maxNs: sorted.at(-1) });
      for (const [told, exact] of [
        [report?.p50Ns, rank(0.5)],
        [report?.p99Ns, rank(0.99)],
        [report?.p999Ns, rank(0.999)],
      ] as const) {
        expect(told).toBeGreaterThanOrEqual(exact);
        expect(told).toBeLessThanOrEqual(exact * (1 + 1 / 32) + 1);
      }
    }),
  );
});

test("PacingRecord: given nothing, then there is no percentile; given an early packet, then it is on time", () => {
  const record = new PacingRecord();
  expect(record.report()).toBeNull();
  record.record(-50);
  expect(record.report()).toEqual({ p50Ns: 0, p99Ns: 0, p999Ns: 0, maxNs: 0 });
  record.clear();
  expect(record.report()).toBeNull();
});
