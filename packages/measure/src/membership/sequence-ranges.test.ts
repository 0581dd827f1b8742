import fc from "fast-check";
import { expect, test } from "vitest";
import { mergeSequenceRanges, SequenceRanges } from "./sequence-ranges.ts";

/** The plain way: sort, then cut wherever a number is missing. */
function runsOf(seqs: readonly number[]): number[][] {
  const runs: number[][] = [];
  for (const seq of [...new Set(seqs)].sort((a, b) => a - b)) {
    const newest = runs.at(-1);
    if (newest !== undefined && newest[1] === seq - 1) newest[1] = seq;
    else runs.push([seq, seq]);
  }
  return runs;
}

test("sequence ranges: given any numbers in any order, then the runs are those of the sorted list", () => {
  fc.assert(
    fc.property(fc.array(fc.nat(60), { maxLength: 80 }), (seqs) => {
      const ranges = new SequenceRanges(64);
      for (const seq of seqs) expect(ranges.add(seq)).toBe(true);
      expect(ranges.ranges).toEqual(runsOf(seqs));
    }),
  );
});

test("sequence ranges: given no room for another run, then the number is refused and nothing else changes", () => {
  const ranges = new SequenceRanges(2);
  expect([0, 2, 4].map((seq) => ranges.add(seq))).toEqual([true, true, false]);
  expect(ranges.ranges).toEqual([
    [0, 0],
    [2, 2],
  ]);
  expect(ranges.add(1)).toBe(true); // joins two runs, so there is room again
  expect(ranges.add(4)).toBe(true);
  expect(ranges.ranges).toEqual([
    [0, 2],
    [4, 4],
  ]);
});

test("mergeSequenceRanges: given runs of several intervals, then the union is that of their numbers", () => {
  const run = fc.tuple(fc.nat(50), fc.nat(5)).map(([first, more]): [number, number] => [first, first + more]);
  fc.assert(
    fc.property(fc.array(run, { maxLength: 20 }), (runs) => {
      const numbers = runs.flatMap(([first, last]) => Array.from({ length: last - first + 1 }, (_, i) => first + i));
      expect(mergeSequenceRanges(runs)).toEqual(runsOf(numbers));
    }),
  );
});
