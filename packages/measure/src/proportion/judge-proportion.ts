import { incompleteBeta } from "./incomplete-beta.ts";

/**
 * The one place that judges a share of packets against a limit: an expectation after a run and before it, what a report
 * says that a loss is at most, what a companion proves. All by exact binomial probabilities (Clopper and Pearson,
 * Biometrika 26, 1934), as if the packets fell one by one: bursts make all of it less certain than it says.
 */

/** How often something happened, of how often it could have. */
export interface Proportion {
  readonly hits: number;
  readonly trials: number;
}

/** `undecided`: so few trials allow shares on both sides of the limit. */
export type LimitVerdict = "kept" | "broken" | "undecided";

/** How likely a wrong "kept" or "broken" may be, at most. 95 % is common practice, no source. */
const ERROR = 0.05;

/**
 * Whether the true share is at most the limit. A limit of 0 is about these trials themselves: no number of them could
 * show that something never happens, and one is enough to show that it does.
 * @param tests how many are held against the same limit, of which none may be called broken by chance
 */
export function judgeProportion(counted: Proportion, limit: number, tests = 1): LimitVerdict {
  const { hits, trials } = counted;
  if (trials <= 0) return "undecided";
  if (limit <= 0) return hits > 0 ? "broken" : "kept";
  if (atMostAsMany(counted, limit) <= ERROR || limit >= 1) return "kept";
  return atLeastAsMany({ hits: Math.min(hits, trials), trials }, limit) <= ERROR / tests ? "broken" : "undecided";
}

/**
 * The limits of the true share, each of which it passes with this probability. With no hit the upper one at 5 % is about
 * 3 of the number of trials (the "rule of three").
 */
export function proportionBounds(
  counted: Proportion,
  error: number = ERROR,
): { readonly low: number; readonly high: number } {
  const { hits, trials } = counted;
  const low = hits <= 0 ? 0 : bisect((share) => atLeastAsMany(counted, share) > error);
  const high = hits >= trials ? 1 : bisect((share) => atMostAsMany(counted, share) <= error);
  return { low, high };
}

/** How many trials without a hit show that the true share is below a limit. @param limit above 0, below 1 */
export const trialsWithoutHit = (limit: number, error: number = ERROR): number =>
  Math.ceil(Math.log(error) / Math.log1p(-limit));

/** More trials than this nobody makes: ten thousand packets a second for eleven days. */
const MOST_TRIALS = 1e10;

/**
 * How many trials in all would decide the limit if the share stays as it was seen; where nothing was seen, if nothing
 * will be.
 * @returns null where no number would: the share lies on the limit, or as good as
 */
export function trialsToDecide({ hits, trials }: Proportion, limit: number): number | null {
  if (limit <= 0 || limit >= 1) return 1;
  if (hits === 0 || trials === 0) return trialsWithoutHit(limit);
  const share = Math.min(1, hits / trials);
  const isDecided = (all: number): boolean =>
    judgeProportion({ hits: share * all, trials: all }, limit) !== "undecided";
  let high = Math.max(1, trials);
  while (high > 1 && isDecided(high / 2)) high /= 2;
  while (!isDecided(high)) {
    if (high > MOST_TRIALS) return null;
    high *= 2;
  }
  let low = high / 2;
  while (high - low > Math.max(1, high / 1000)) {
    const middle = (low + high) / 2;
    if (isDecided(middle)) high = middle;
    else low = middle;
  }
  return Math.ceil(high);
}

/** Probability of no more hits than these, if the true share is this. Hits need not be whole. */
function atMostAsMany({ hits, trials }: Proportion, share: number): number {
  if (hits >= trials) return 1;
  return hits <= 0 ? (1 - share) ** trials : incompleteBeta(1 - share, trials - hits, hits + 1);
}

/** Probability of no fewer hits than these. */
function atLeastAsMany({ hits, trials }: Proportion, share: number): number {
  if (hits <= 0) return 1;
  return hits >= trials ? share ** trials : incompleteBeta(share, hits, trials - hits + 1);
}

/** The least share from which on the condition holds. */
function bisect(holds: (share: number) => boolean): number {
  let low = 0;
  let high = 1;
  for (let halvings = 0; halvings < 60; halvings++) {
    const middle = (low + high) / 2;
    if (holds(middle)) high = middle;
    else low = middle;
  }
  return high;
}
