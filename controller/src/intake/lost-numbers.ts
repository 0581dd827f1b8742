import { mergeSequenceRanges, type SequenceRange } from "@dyetrace/measure";
import type { ListenerInterval } from "@dyetrace/wire";

/** Runs that are written down of one report: enough to tell one host's loss from another's, and little on disk. */
const MOST_RUNS = 16;

type Receipt = NonNullable<ListenerInterval["receipt"]>;

/** Which numbers a listener lost in one report, the first runs of them, such as `400-449 812`. */
export function tellLostNumbers({ spans }: Receipt): string {
  const runs = spans.flatMap((span) =>
    span.lost.map(([firstSeq, count]): SequenceRange => [firstSeq, firstSeq + count - 1]),
  );
  return mergeSequenceRanges(runs)
    .slice(0, MOST_RUNS)
    .map(([first, last]) => (first === last ? `${first}` : `${first}-${last}`))
    .join(" ");
}

/** The same back from words; empty where none were written down. */
export function readLostNumbers(detail: string): SequenceRange[] {
  return [...detail.matchAll(/(\d+)(?:-(\d+))?/g)].map(([, first, last]) => [Number(first), Number(last ?? first)]);
}
