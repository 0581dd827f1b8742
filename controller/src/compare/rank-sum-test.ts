/**
 * Written here, because no package in the registry counts out the distribution with equal values among them:
 * mann-whitney-utest and simple-statistics give the statistic alone or the normal approximation, @stdlib/stats-wilcoxon is
 * the test for pairs. And @stdlib's erfc is 146 packages.
 */

/** Up to this many values together the distribution of the rank sum is counted out; beyond, it is as good as normal. */
const MOST_EXACT = 60;

/**
 * Two-sided rank-sum test (Mann and Whitney, Annals of Mathematical Statistics 18, 1947): whether one sample tends to
 * greater values than the other, whatever their distribution. Equal values share their mean rank, and the exact
 * distribution is that over all ways to deal these very ranks to the two samples.
 * @returns 0 to 1; 1 where a sample is empty
 */
export function rankSumTest(a: readonly number[], b: readonly number[]): number {
  if (a.length === 0 || b.length === 0) return 1;
  const ranks = doubledRanks([...a, ...b]);
  const sum = ranks.slice(0, a.length).reduce((total, rank) => total + rank, 0);
  return ranks.length <= MOST_EXACT ? exactP(ranks, a.length, sum) : normalP(ranks, a.length, sum);
}

/** The least that samples of these sizes could reach, without equal values. */
export function leastRankSumP(sizeA: number, sizeB: number): number {
  if (sizeA === 0 || sizeB === 0) return 1;
  let ways = 1;
  for (let i = 1; i <= Math.min(sizeA, sizeB); i++) ways = (ways * (sizeA + sizeB - i + 1)) / i;
  return Math.min(1, 2 / ways);
}

/** Median of all differences `b - a`: how much greater the second sample is (Hodges and Lehmann, 1963). 0 for an empty one. */
export function medianShift(a: readonly number[], b: readonly number[]): number {
  const differences = b.flatMap((after) => a.map((before) => after - before));
  return median(differences) ?? 0;
}

export function median(values: readonly number[]): number | null {
  const sorted = values.toSorted((x, y) => x - y);
  const middle = sorted.length >> 1;
  const upper = sorted[middle];
  if (upper === undefined) return null;
  return sorted.length % 2 === 1 ? upper : (upper + (sorted[middle - 1] ?? upper)) / 2;
}

/** Twice the mean rank of each value, which is a whole number. */
function doubledRanks(values: readonly number[]): number[] {
  const order = values.map((value, index) => ({ value, index })).sort((x, y) => x.value - y.value);
  const ranks: number[] = [];
  for (let from = 0; from < order.length; ) {
    let to = from;
    while (to + 1 < order.length && order[to + 1]?.value === order[from]?.value) to++;
    for (let i = from; i <= to; i++) ranks[order[i]?.index ?? 0] = from + to + 2;
    from = to + 1;
  }
  return ranks;
}

/** Counts, for each sum, the ways to choose `size` of the ranks. */
function exactP(ranks: readonly number[], size: number, observed: number): number {
  const most = ranks.reduce((total, rank) => total + rank, 0);
  const ways = Array.from({ length: size + 1 }, () => new Float64Array(most + 1));
  (ways[0] as Float64Array)[0] = 1;
  for (const rank of ranks) {
    for (let chosen = size; chosen >= 1; chosen--) {
      const [to, from] = [ways[chosen] as Float64Array, ways[chosen - 1] as Float64Array];
      for (let sum = most; sum >= rank; sum--) to[sum] = (to[sum] as number) + (from[sum - rank] as number);
    }
  }
  const counts = ways[size] as Float64Array;
  const centre = (size * most) / ranks.length;
  const distance = Math.abs(observed - centre);
  let [far, all] = [0, 0];
  for (const [sum, count] of counts.entries()) {
    all += count;
    if (Math.abs(sum - centre) >= distance - 1e-9) far += count;
  }
  return far / all;
}

/** With the correction for equal values and for continuity. */
function normalP(ranks: readonly number[], size: number, observed: number): number {
  const n = ranks.length;
  const mean = ranks.reduce((total, rank) => total + rank, 0) / n;
  const spread = ranks.reduce((total, rank) => total + (rank - mean) ** 2, 0) / (n - 1);
  const variance = (spread * size * (n - size)) / n;
  if (variance === 0) return 1;
  const z = Math.max(0, Math.abs(observed - size * mean) - 1) / Math.sqrt(variance);
  return twoSidedNormalP(z);
}

/**
 * Interval of the shift from `a` to `b` that leaves out the true one with probability `level` at most: from the k-th least to
 * the k-th greatest of all differences (Hollander and Wolfe, Nonparametric Statistical Methods, section 4.3; the tests hold it
 * against drawn samples).
 * @returns null where so few values bound no shift
 */
export function shiftInterval(
  a: readonly number[],
  b: readonly number[],
  level: number,
): { readonly low: number; readonly high: number } | null {
  const left = differencesLeftOut(a.length, b.length, level);
  if (left === null) return null;
  const differences = b.flatMap((after) => a.map((before) => after - before)).sort((x, y) => x - y);
  const [low, high] = [differences[left], differences.at(-1 - left)];
  return low === undefined || high === undefined ? null : { low, high };
}

/** How many differences lie beyond each end of the interval; null: not even the outermost bound it. */
function differencesLeftOut(sizeA: number, sizeB: number, level: number): number | null {
  const all = sizeA * sizeB;
  if (sizeA + sizeB > MOST_EXACT) {
    const spread = Math.sqrt((all * (sizeA + sizeB + 1)) / 12);
    const left = Math.floor(all / 2 - normalDeviate(level) * spread - 0.5);
    return left < 0 ? null : left;
  }
  // Ways to deal that give a count of k pairs in which a is greater (Mann and Whitney's recurrence, as products).
  const ways = new Float64Array(all + 1);
  ways[0] = 1;
  for (let i = 1; i <= sizeA; i++) {
    for (let k = all; k >= sizeB + i; k--) ways[k] = (ways[k] as number) - (ways[k - sizeB - i] as number);
    for (let k = i; k <= all; k++) ways[k] = (ways[k] as number) + (ways[k - i] as number);
  }
  const total = ways.reduce((sum, one) => sum + one, 0);
  let [below, left] = [0, -1];
  for (; left + 1 <= all; left++) {
    below += (ways[left + 1] as number) / total;
    if (below > level / 2) break;
  }
  return left < 0 ? null : left;
}

/** How far from 0 a normal deviate is with probability `level`: 1.96 for 0.05. */
export function normalDeviate(level: number): number {
  let [low, high] = [0, 40];
  for (let step = 0; step < 60; step++) {
    const middle = (low + high) / 2;
    if (twoSidedNormalP(middle) > level) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** @returns the probability that a normal deviate is at least `z` away from 0 */
export const twoSidedNormalP = (z: number): number => Math.min(1, complementaryError(Math.abs(z) / Math.SQRT2));

/** erfc with a relative error below 1.2e-7 (Press et al., Numerical Recipes, section 6.2, from memory). */
function complementaryError(x: number): number {
  const t = 1 / (1 + x / 2);
  const series = [
    -1.26551223, 1.00002368, 0.37409196, 0.09678418, -0.18628806, 0.27886807, -1.13520398, 1.48851587, -0.82215223,
    0.17087277,
  ];
  return t * Math.exp(-x * x + series.reduceRight((sum, coefficient) => sum * t + coefficient, 0));
}
