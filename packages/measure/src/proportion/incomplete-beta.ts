/**
 * Regularised incomplete beta function I_x(a, b): the probability that a beta variable is at most x. Sums of binomial
 * probabilities are values of it (DLMF 8.17.5), also where the counts are too large to sum.
 * By the continued fraction of DLMF 8.17.22, which converges in about sqrt(max(a, b)) steps for x below the mean;
 * above it by I_x(a, b) = 1 - I_1-x(b, a) (DLMF 8.17.4).
 */
export function incompleteBeta(x: number, a: number, b: number): number {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  if (x > (a + 1) / (a + b + 2)) return 1 - incompleteBeta(1 - x, b, a);
  const front = Math.exp(logGamma(a + b) - logGamma(a) - logGamma(b) + a * Math.log(x) + b * Math.log1p(-x));
  return (front * continuedFraction(x, a, b)) / a;
}

const MOST_STEPS = 100_000;
const PRECISION = 1e-12;
/** Stands in for 0, by which Lentz's method must not divide. */
const TINY = 1e-300;

/** Modified Lentz's method (Thompson and Barnett, J. Comput. Phys. 64, 1986). */
function continuedFraction(x: number, a: number, b: number): number {
  const kept = (value: number): number => (Math.abs(value) < TINY ? TINY : value);
  let c = 1;
  let d = 1 / kept(1 - ((a + b) * x) / (a + 1));
  let value = d;
  for (let m = 1; m <= MOST_STEPS; m++) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / kept(1 + even * d);
    c = kept(1 + even / c);
    value *= c * d;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / kept(1 + odd * d);
    c = kept(1 + odd / c);
    value *= c * d;
    if (Math.abs(c * d - 1) < PRECISION) break;
  }
  return value;
}

/** From here on Stirling's series (DLMF 5.11.1) is right to the last digits; smaller arguments are shifted up to it. */
const STIRLING_FROM = 12;

function logGamma(x: number): number {
  let shift = 0;
  let at = x;
  for (; at < STIRLING_FROM; at++) shift += Math.log(at);
  const inverse = 1 / (at * at);
  const series = (1 / 12 - inverse * (1 / 360 - inverse * (1 / 1260 - inverse * (1 / 1680)))) / at;
  return (at - 0.5) * Math.log(at) - at + Math.log(2 * Math.PI) / 2 + series - shift;
}
