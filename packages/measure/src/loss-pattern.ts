import type { LostRange } from "./stream-receipt.ts";

/** Loss patterns (RFC 3357) of lost ranges: ascending, disjoint, not touching. Each range is one loss period. */
type Ranges = readonly (LostRange | readonly [firstSeq: number, count: number])[];

/**
 * From the last loss of the period before to the first of this one, in sequence numbers; 0 for the first period. Within a
 * period the distance is 1. @see RFC 3357, sections 5.4.1 and 6.4
 */
export const interLossPeriodLengths = (ranges: Ranges): number[] =>
  ranges.map((range, i) => {
    const before = ranges[i - 1];
    return before === undefined ? 0 : range[0] - (before[0] + before[1] - 1);
  });

/**
 * Share of the lost packets that followed another loss at no more than `delta` numbers. The first loss follows none and
 * is not noticeable.
 * @returns null if nothing is lost
 * @see RFC 3357, section 6.1
 */
export function noticeableLossRate(ranges: Ranges, delta: number): number | null {
  let lost = 0;
  let noticeable = 0;
  for (const [i, distance] of interLossPeriodLengths(ranges).entries()) {
    const count = ranges[i]?.[1] ?? 0;
    lost += count;
    noticeable += delta >= 1 ? count - 1 : 0;
    if (i > 0 && distance <= delta) noticeable += 1;
  }
  return lost === 0 ? null : noticeable / lost;
}
