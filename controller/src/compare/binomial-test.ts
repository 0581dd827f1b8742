/**
 * Exact two-sided binomial test: how likely a split at least as improbable as `hits` of `trials` is, if each falls on
 * this side with probability `ratio`. Two Poisson counts with different exposures are compared by it, given their sum
 * (Przyborowski and Wilenski, Biometrika 31, 1940).
 * @stdlib/stats-binomial-test (0.2.2) gives the same, as statistics.test.ts shows, but is 243 packages and 28 MB.
 * @returns 0 to 1
 */
export function binomialTest(hits: number, trials: number, ratio: number): number {
  if (trials === 0) return 1;
  const observed = logProbability(hits, trials, ratio);
  let sum = 0;
  for (let k = 0; k <= trials; k++) {
    const one = logProbability(k, trials, ratio);
    if (one <= observed + 1e-7) sum += Math.exp(one); // equal ones differ in the last digits
  }
  return Math.min(1, sum);
}

/** The least that any split of this many trials could reach. */
export const leastBinomialP = (trials: number, ratio: number): number =>
  Math.min(binomialTest(0, trials, ratio), binomialTest(trials, trials, ratio));

const logProbability = (k: number, n: number, p: number): number =>
  logFactorial(n) - logFactorial(k) - logFactorial(n - k) + power(k, p) + power(n - k, 1 - p);

const power = (times: number, base: number): number => (times === 0 ? 0 : times * Math.log(base));

const LOG_FACTORIALS: number[] = [0];

function logFactorial(n: number): number {
  for (let k = LOG_FACTORIALS.length; k <= n; k++) LOG_FACTORIALS.push((LOG_FACTORIALS[k - 1] ?? 0) + Math.log(k));
  return LOG_FACTORIALS[n] ?? 0;
}
