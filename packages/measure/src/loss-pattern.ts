/** Loss patterns (RFC 3357) of lost ranges: ascending, disjoint, not touching. Each range is one loss period. */
type Ranges = readonly (readonly [firstSeq: number, count: number, ...rest: unknown[]])[];

/** How the losses of a reception lie among its numbers. */
export interface LossPattern {
  readonly periods: number;
  /** Packets of the longest period. */
  readonly longestPeriod: number;
  /** Of all distances from the last loss of one period to the first of the next, the middle one; null: one period at most. */
  readonly medianDistance: number | null;
  /** Share of the losses within 99 packets of another; null if nothing is lost. */
  readonly noticeableRatio: number | null;
}

const NOTICEABLE_DELTA = 99;

/** @param runs the lost ranges of separate runs of numbers: no distance reaches from one into the next */
export function lossPattern(runs: readonly Ranges[]): LossPattern {
  const counts = runs.flatMap((ranges) => ranges.map(([, count]) => count));
  const distances = runs.flatMap((ranges) => interLossPeriodLengths(ranges).slice(1)).sort((a, b) => a - b);
  return {
    periods: counts.length,
    longestPeriod: counts.reduce((longest, count) => Math.max(longest, count), 0),
    medianDistance: distances[Math.floor((distances.length - 1) / 2)] ?? null,
    noticeableRatio: noticeableLossRate(runs, NOTICEABLE_DELTA),
  };
}

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
 * Share of the lost packets that followed another loss of their run at no more than `delta` numbers. A run's first loss
 * follows none and is not noticeable.
 * @returns null if nothing is lost
 * @see RFC 3357, section 6.1
 */
export function noticeableLossRate(runs: readonly Ranges[], delta: number): number | null {
  let lost = 0;
  let noticeable = 0;
  for (const ranges of runs) {
    for (const [i, distance] of interLossPeriodLengths(ranges).entries()) {
      const count = ranges[i]?.[1] ?? 0;
      lost += count;
      noticeable += delta >= 1 ? count - 1 : 0;
      if (i > 0 && distance <= delta) noticeable += 1;
    }
  }
  return lost === 0 ? null : noticeable / lost;
}
