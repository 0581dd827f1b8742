import type { SeqRange } from "./run-observations.ts";

/** Arithmetic on ascending, disjoint lists of sequence number ranges. */

export function countRanges(ranges: readonly SeqRange[]): number {
  let count = 0;
  for (const [first, last] of ranges) count += last - first + 1;
  return count;
}

/** Hot path: numbers that are in both lists, by one pass over each. */
export function intersectRanges(a: readonly SeqRange[], b: readonly SeqRange[]): SeqRange[] {
  const both: SeqRange[] = [];
  let i = 0;
  let j = 0;
  while (i < a.length && j < b.length) {
    const [aFirst, aLast] = a[i] as SeqRange;
    const [bFirst, bLast] = b[j] as SeqRange;
    const first = aFirst > bFirst ? aFirst : bFirst;
    const last = aLast < bLast ? aLast : bLast;
    if (first <= last) both.push([first, last]);
    if (aLast < bLast) i++;
    else j++;
  }
  return both;
}

/** Numbers of `a` that are not in `b`. */
export function subtractRanges(a: readonly SeqRange[], b: readonly SeqRange[]): SeqRange[] {
  if (b.length === 0) return [...a];
  const rest: SeqRange[] = [];
  let j = 0;
  for (const [first, last] of a) {
    let from = first;
    while (j < b.length && (b[j] as SeqRange)[1] < from) j++;
    for (let k = j; k < b.length && (b[k] as SeqRange)[0] <= last; k++) {
      const [cutFirst, cutLast] = b[k] as SeqRange;
      if (cutFirst > from) rest.push([from, cutFirst - 1]);
      from = Math.max(from, cutLast + 1);
    }
    if (from <= last) rest.push([from, last]);
  }
  return rest;
}

/** Numbers that are in either list. */
export function uniteRanges(a: readonly SeqRange[], b: readonly SeqRange[]): SeqRange[] {
  const all = [...a, ...b].sort((x, y) => x[0] - y[0]);
  const united: [number, number][] = [];
  for (const [first, last] of all) {
    const open = united.at(-1);
    if (open !== undefined && first <= open[1] + 1) open[1] = Math.max(open[1], last);
    else united.push([first, last]);
  }
  return united;
}
