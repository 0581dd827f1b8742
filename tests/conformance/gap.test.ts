import { expect, test } from "vitest";
import { NOTHING_KNOWN, totalReceipt, track } from "./track-arrivals.ts";

// A gap is a run of consecutive missing numbers (RFC 3357, section 4: a loss period); its time runs from the arrival of
// the packet before to the arrival of the packet after. Times computed by hand.

test("gap: given 3 numbers missing between arrivals at 20 and 100 ms, then it lasts 80 ms", () => {
  const receipt = track([
    { seq: 0, arrivalMs: 0 },
    { seq: 1, arrivalMs: 20 },
    { seq: 5, arrivalMs: 100 },
    { seq: 6, arrivalMs: 120 },
    { seq: 8, arrivalMs: 160 },
  ]);
  expect(totalReceipt(receipt, NOTHING_KNOWN)).toMatchObject({
    lost: 4,
    gaps: [
      { firstSeq: 2, count: 3, startMs: 20, durationMs: 80 },
      { firstSeq: 7, count: 1, startMs: 120, durationMs: 40 },
    ],
    longestGap: { durationNs: 80e6 },
  });
});

test("gap: given one of 3 missing numbers that comes late, then two gaps are left, both of the time they were seen in", () => {
  const receipt = track([
    { seq: 1, arrivalMs: 20 },
    { seq: 5, arrivalMs: 100 },
    { seq: 3, arrivalMs: 130 },
    { seq: 6, arrivalMs: 140 },
  ]);
  expect(receipt).toMatchObject({ lost: 2, reordered: 1 });
  expect(totalReceipt(receipt, NOTHING_KNOWN).gaps).toEqual([
    { firstSeq: 2, count: 1, startMs: 20, durationMs: 80 },
    { firstSeq: 4, count: 1, startMs: 20, durationMs: 80 },
  ]);
});

test("gap: given a missing number that comes after the reorder time, then it is late, lost and no gap is mended", () => {
  const receipt = track([
    { seq: 0, arrivalMs: 0 },
    { seq: 2, arrivalMs: 10 },
    { seq: 1, arrivalMs: 1011 },
  ]);
  expect(receipt).toMatchObject({ lost: 1, latePackets: 1, reordered: 0 });
});
