/** Standard errors to each side of a 95 % interval. */
export const Z95 = 1.959963984540054;

export interface Interval {
  readonly low: number;
  readonly high: number;
}

/** Interval of a ratio, at 95 % by default (Wilson, JASA 22, 1927). @param trials above 0; need not be whole @param z standard errors to each side */
export function wilsonInterval(hits: number, trials: number, z: number = Z95): Interval {
  const p = hits / trials;
  const z2 = z * z;
  const centre = (2 * trials * p + z2) / (2 * (trials + z2));
  const half = (z * Math.sqrt(z2 + 4 * trials * p * (1 - p))) / (2 * (trials + z2));
  return { low: Math.max(0, centre - half), high: Math.min(1, centre + half) };
}

/** The greatest difference in either direction that an interval allows. */
export const widestOf = ({ low, high }: Interval): number => Math.max(Math.abs(low), Math.abs(high));

/** @returns trials, in each of two runs without any hit, from which `differenceInterval` excludes a difference of `step` */
export const trialsToExclude = (step: number, z: number = Z95): number => Math.ceil(z * z * (1 / step - 1));

export interface Share {
  readonly hits: number;
  readonly trials: number;
}

/** Interval of `after - before`, at 95 % by default (Newcombe, Statistics in Medicine 17, 1998, method 10). */
export function differenceInterval(before: Share, after: Share, z: number = Z95): Interval {
  const [p1, p2] = [after.hits / after.trials, before.hits / before.trials];
  const [one, two] = [wilsonInterval(after.hits, after.trials, z), wilsonInterval(before.hits, before.trials, z)];
  return {
    low: p1 - p2 - Math.hypot(p1 - one.low, two.high - p2),
    high: p1 - p2 + Math.hypot(one.high - p1, p2 - two.low),
  };
}
