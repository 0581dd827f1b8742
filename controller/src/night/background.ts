import type { Episode } from "../store/pack/kept-report.ts";

/** Something that happened at a listener, or went on for a time. */
export interface Spell {
  readonly fromNs: number;
  readonly toNs: number;
  /** How often. */
  readonly times: number;
}

/** From this length and this many times on it is a state, and no incident. Common practice, no source. */
export const STEADY_NS = 60e9;
export const STEADY_TIMES = 20;
/** What is rarer than this is told one by one. Common practice, no source. */
const RAREST_NS = 120e9;
/** Reports come each second: what repeats faster shows in each, whatever its rhythm. */
const GRAIN_NS = 3e9;
/** Pauses vary by as much as their mean where each loss is chance (exponential distribution), and little where something repeats. */
const LEAST_VARIATION = 0.5;
/** A pause of chance is this many means longer than the logarithm of their number once in a thousand nights. */
const LONGEST_MEANS = 7;

/**
 * Finds stretches in which something happens again and again at times of chance: a state with a rate, and no row of incidents.
 * What repeats at even pauses is none. Pure.
 * @param spells of one listener and stream, in order of time
 * @param blind times in which it did not measure
 * @returns the stretches, each as the indices of its first and last spell
 */
export function steadyStretches(spells: readonly Spell[], blind: readonly Episode[]): readonly [number, number][] {
  const pauses = spells.map((one, i) => {
    const before = spells[i - 1];
    return before === undefined ? 0 : pauseNs(before.toNs, one.fromNs, blind);
  });
  const found: [number, number][] = [];
  const look = (first: number, last: number): void => {
    const times = timesOf(spells, first, last);
    if (times < STEADY_TIMES) return;
    const own = pauses.slice(first + 1, last + 1);
    const meanNs = own.reduce((sum, one) => sum + one, 0) / Math.max(1, own.length);
    const longestNs = Math.max(STEADY_NS, meanNs * (Math.log(Math.max(1, own.length)) + LONGEST_MEANS));
    const cuts = own.flatMap((one, i) => (one > longestNs ? first + 1 + i : []));
    if (cuts.length > 0) {
      for (const [i, cut] of [...cuts, last + 1].entries()) look(cuts[i - 1] ?? first, cut - 1);
      return;
    }
    const lastsNs = (spells[last]?.toNs ?? 0) - (spells[first]?.fromNs ?? 0);
    const isEven = meanNs > GRAIN_NS && own.length >= STEADY_TIMES && variation(own, meanNs) < LEAST_VARIATION;
    if (lastsNs >= STEADY_NS && lastsNs / times <= RAREST_NS && !isEven) found.push([first, last]);
  };
  look(0, spells.length - 1);
  return found;
}

/** From an end to a beginning, less what was not measured in between. */
function pauseNs(fromNs: number, toNs: number, blind: readonly Episode[]): number {
  const unseen = blind.reduce(
    (sum, one) => sum + Math.max(0, Math.min(toNs, one.toNs) - Math.max(fromNs, one.fromNs)),
    0,
  );
  return Math.max(0, toNs - fromNs - unseen);
}

function timesOf(spells: readonly Spell[], first: number, last: number): number {
  let sum = 0;
  for (let i = first; i <= last; i++) sum += spells[i]?.times ?? 0;
  return sum;
}

/** Standard deviation over mean. */
const variation = (values: readonly number[], mean: number): number =>
  Math.sqrt(values.reduce((sum, one) => sum + (one - mean) ** 2, 0) / values.length) / mean;
