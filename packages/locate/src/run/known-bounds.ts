import type { SeqRange } from "./run-observations.ts";

/**
 * The range without the numbers at its ends about which nobody can say whether they came; null when it is all of them.
 * @param unknown ascending and disjoint
 */
export function knownBounds(range: SeqRange, unknown: readonly SeqRange[]): SeqRange | null {
  if (unknown.length === 0) return range;
  let [first, last] = range;
  for (const [from, to] of unknown) if (from <= first && to >= first) first = to + 1;
  for (const [from, to] of unknown.toReversed()) if (from <= last && to >= last) last = from - 1;
  return first > last ? null : [first, last];
}
