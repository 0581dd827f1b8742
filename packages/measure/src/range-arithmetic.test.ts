import fc from "fast-check";
import { expect, test } from "vitest";
import { mergeSequenceRanges, type SequenceRange } from "./membership/sequence-ranges.ts";
import { countRanges, intersectRanges, subtractRanges } from "./range-arithmetic.ts";

const toRanges = (seqs: Iterable<number>): SequenceRange[] =>
  mergeSequenceRanges([...seqs].map((seq): SequenceRange => [seq, seq]));
const seqs = fc.array(fc.nat({ max: 60 }), { maxLength: 50 }).map((list) => new Set(list));

test("range arithmetic: given any two sets of numbers, then the ranges give what the sets give", () => {
  fc.assert(
    fc.property(seqs, seqs, (a, b) => {
      const [left, right] = [toRanges(a), toRanges(b)];
      expect(countRanges(left)).toBe(a.size);
      expect(toSet(intersectRanges(left, right))).toEqual(new Set([...a].filter((seq) => b.has(seq))));
      expect(toSet(subtractRanges(left, right))).toEqual(new Set([...a].filter((seq) => !b.has(seq))));
    }),
    { numRuns: 1000 },
  );
});

test("range arithmetic: given any two sets of numbers, then the results are ascending and disjoint", () => {
  fc.assert(
    fc.property(seqs, seqs, (a, b) => {
      for (const ranges of [intersectRanges(toRanges(a), toRanges(b)), subtractRanges(toRanges(a), toRanges(b))]) {
        for (const [i, range] of ranges.entries()) {
          expect(range[0]).toBeLessThanOrEqual(range[1]);
          expect(range[0]).toBeGreaterThan(ranges[i - 1]?.[1] ?? -1);
        }
      }
    }),
  );
});

function toSet(ranges: readonly SequenceRange[]): Set<number> {
  const all = new Set<number>();
  for (const [first, last] of ranges) for (let seq = first; seq <= last; seq++) all.add(seq);
  return all;
}
