import type { SequenceRange } from "./membership/sequence-ranges.ts";
import type { Span } from "./stream-receipt.ts";

/** Arithmetic on ascending, disjoint lists of sequence number ranges, first and last number included. Linear time. */

/** @returns how many numbers the ranges hold */
export function countRanges(ranges: readonly SequenceRange[]): number {
  let count = 0;
  for (const [first, last] of ranges) count += last - first + 1;
  return count;
}

/** @returns the numbers that are in both */
export function intersectRanges(a: readonly SequenceRange[], b: readonly SequenceRange[]): SequenceRange[] {
  const both: SequenceRange[] = [];
  let i = 0;
  let j = 0;
  for (let left = a[i], right = b[j]; left !== undefined && right !== undefined; left = a[i], right = b[j]) {
    const first = Math.max(left[0], right[0]);
    const last = Math.min(left[1], right[1]);
    if (first <= last) {
      // A range that lies within the other is taken as it is: that spares the making of most.
      const inner = left[0] === first && left[1] === last ? left : right;
      both.push(inner[0] === first && inner[1] === last ? inner : [first, last]);
    }
    if (left[1] < right[1]) i += 1;
    else j += 1;
  }
  return both;
}

/** @returns the numbers of `a` that are not in `b` */
export function subtractRanges(a: readonly SequenceRange[], b: readonly SequenceRange[]): SequenceRange[] {
  const rest: SequenceRange[] = [];
  let j = 0;
  for (const [first, last] of a) {
    let from = first;
    for (let cut = b[j]; cut !== undefined && cut[0] <= last; cut = b[j]) {
      if (cut[0] > from) rest.push([from, cut[0] - 1]);
      from = Math.max(from, cut[1] + 1);
      if (cut[1] > last) break; // it reaches into the next range of `a` too
      j += 1;
    }
    if (from <= last) rest.push([from, last]);
  }
  return rest;
}

/** The exact lost ranges of a span, for this arithmetic. Not those in `coarse`: they enclose received numbers. */
export const lostSequenceRanges = (span: Span): SequenceRange[] =>
  span.lost.map(([firstSeq, count]): SequenceRange => [firstSeq, firstSeq + count - 1]);
