import { mergeSequenceRanges, type SequenceRange } from "@dyetrace/measure";

/** Runs that are written down of one report: enough to tell one host's loss from another's, and little on disk. */
const MOST_RUNS = 16;

/** Which numbers a listener lost in one report, its longest runs, in order, such as `400-449 812`. */
export function tellLostNumbers(ranges: readonly { readonly firstSeq: number; readonly length: number }[]): string {
  const runs = mergeSequenceRanges(ranges.map(({ firstSeq, length }) => [firstSeq, firstSeq + length - 1]));
  return longestOf(runs)
    .map(([first, last]) => (first === last ? `${first}` : `${first}-${last}`))
    .join(" ");
}

/** The first one always: times within the report count from it. */
function longestOf(runs: readonly SequenceRange[]): readonly SequenceRange[] {
  if (runs.length <= MOST_RUNS) return runs;
  const [first, ...others] = runs;
  const longest = others.toSorted((a, b) => b[1] - b[0] - (a[1] - a[0])).slice(0, MOST_RUNS - 1);
  return [...(first === undefined ? [] : [first]), ...longest].toSorted((a, b) => a[0] - b[0]);
}

/** The same back from words; empty where none were written down. */
export function readLostNumbers(detail: string): SequenceRange[] {
  return [...detail.matchAll(/(\d+)(?:-(\d+))?/g)].map(([, first, last]) => [Number(first), Number(last ?? first)]);
}
