/**
 * Exact two-sided interval of a binomial count: the smallest k with P(X <= k) > alpha / 2, and the same from above. By
 * adding up the terms of the distribution, whose logarithm comes from the recurrence P(k + 1) / P(k) =
 * (n - k) / (k + 1) * p / (1 - p) (textbook).
 */
export function binomialInterval(
  trials: number,
  probability: number,
  alpha: number,
): readonly [low: number, high: number] {
  const terms: number[] = [];
  let logTerm = trials * Math.log1p(-probability);
  for (let k = 0; k <= trials; k++) {
    terms.push(Math.exp(logTerm));
    logTerm += Math.log((trials - k) / (k + 1)) + Math.log(probability / (1 - probability));
  }
  const quantile = (share: number): number => {
    let sum = 0;
    for (const [k, term] of terms.entries()) {
      sum += term;
      if (sum > share) return k;
    }
    return trials;
  };
  return [quantile(alpha / 2), quantile(1 - alpha / 2)];
}
