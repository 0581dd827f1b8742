import type { LostRange } from "./stream-receipt.ts";

/** Loss patterns (RFC 3357) of lost ranges: ascending, disjoint, not touching. Each range is one loss period. */
type Ranges = readonly (LostRange | readonly [firstSeq: number, count: number])[];

/**
 * Loss distance of each lost packet: its sequence number less that of the loss before it; 0 for the first.
 * @see RFC 3357, section 5.4.1
 */
export function lossDistances(ranges: Ranges): number[] {
  const between = interLossPeriodLengths(ranges);
  return ranges.flatMap((range, i) => [between[i] ?? 0, ...new Array<number>(range[1] - 1).fill(1)]);
}

/** Packets in each loss period. @see RFC 3357, section 6.3 */
export const lossPeriodLengths = (ranges: Ranges): number[] => ranges.map((range) => range[1]);

/** From the last loss of the period before to the first of this one; 0 for the first period. @see RFC 3357, section 6.4 */
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
