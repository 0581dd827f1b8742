import type { SequenceRange } from "@dyetrace/measure";

/** What one listener lost of one stream. */
export interface LostRuns {
  /** Runs of numbers that did not come, ascending; empty where they are not known. */
  readonly runs: readonly SequenceRange[];
}

/**
 * Two listeners have a loss in common if this share of the packets that the one with fewer lost went missing in the same
 * runs at the other. What one place lost is the same for all behind it, beside what each lost of its own; of losses that
 * know nothing of each other one run in seven at most is the same by chance (at one packet in three lost at random).
 * Common practice, no source.
 */
const COMMON_SHARE = 0.3;
/** A run is the same if its ends differ by a tenth of its length in all: an outage ends for all, but not at one packet. */
const SLACK = 0.1;

/** Listeners of one stream that have their loss in common, put together. Where numbers are not known they are all in one. */
export function alikeLosses<Loss extends LostRuns>(losses: readonly Loss[]): Loss[][] {
  const groups: Loss[][] = [];
  // From the most to the fewest: whoever lost most has what each of the others may have in common.
  for (const loss of losses.toSorted((a, b) => packetsIn(b.runs) - packetsIn(a.runs))) {
    const same = groups.find(([first]) => first !== undefined && haveCommonLoss(first, loss));
    if (same === undefined) groups.push([loss]);
    else same.push(loss);
  }
  return groups;
}

function haveCommonLoss({ runs: a }: LostRuns, { runs: b }: LostRuns): boolean {
  const fewest = Math.min(packetsIn(a), packetsIn(b));
  return fewest === 0 || commonPackets(a, b) >= COMMON_SHARE * fewest;
}

/** Packets in runs that both lost alike. */
function commonPackets(a: readonly SequenceRange[], b: readonly SequenceRange[]): number {
  let common = 0;
  let next = 0;
  for (const [first, last] of a) {
    const slack = SLACK * (last - first + 1);
    while ((b[next]?.[0] ?? Number.POSITIVE_INFINITY) < first - slack) next += 1;
    const other = b[next];
    if (other === undefined) break;
    if (Math.abs(other[0] - first) + Math.abs(other[1] - last) <= slack) common += last - first + 1;
  }
  return common;
}

const packetsIn = (runs: readonly SequenceRange[]): number =>
  runs.reduce((sum, [first, last]) => sum + last - first + 1, 0);
