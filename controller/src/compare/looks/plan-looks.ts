import { LEVEL } from "../comparison.ts";

/** When a comparison is looked at that grows by one run after the other. */
export interface LookPlan {
  /** After how many runs, ascending. */
  readonly after: readonly number[];
  /** Chance of a false alarm at each look. */
  readonly level: number;
}

/**
 * Whoever looks again and again sees chance make a difference at some time. So it is settled beforehand after how many runs it
 * is looked at, each time after half as many again, and each look has an equal share of the chance of a false alarm: equal
 * nominal levels at each look (Pocock, Biometrika 64, 1977), with the share that Bonferroni's inequality allows whatever the
 * test, and bounds of the same level at each look (Jennison and Turnbull, Journal of the Royal Statistical Society B 51, 1989).
 * Fewer looks than planned, because of the time, keep within it too.
 */
export function planLooks(mostRuns: number, level: number = LEVEL): LookPlan {
  const after: number[] = [];
  for (let runs = 1; runs < mostRuns; runs = Math.max(runs + 1, Math.floor(1.5 * runs))) after.push(runs);
  after.push(Math.max(1, mostRuns));
  return { after, level: level / after.length };
}
