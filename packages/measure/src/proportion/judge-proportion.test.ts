import { expect, test } from "vitest";
import { incompleteBeta } from "./incomplete-beta.ts";
import { judgeProportion, proportionBounds, trialsToDecide } from "./judge-proportion.ts";

/** P(X <= k) of a binomial with p = top / bottom, summed in whole numbers: no rounding before the last division. */
function exactAtMost(k: number, n: number, top: bigint, bottom: bigint): number {
  let ways = 1n;
  let sum = 0n;
  for (let i = 0; i <= k; i++) {
    sum += ways * top ** BigInt(i) * (bottom - top) ** BigInt(n - i);
    ways = (ways * BigInt(n - i)) / BigInt(i + 1);
  }
  return Number((sum * 10n ** 20n) / bottom ** BigInt(n)) / 1e20;
}

test.each([
  [0, 30, 1n, 20n],
  [7, 60, 1n, 20n],
  [40, 60, 1n, 2n],
  [3, 900, 1n, 200n],
  [19, 1900, 1n, 100n],
])("incompleteBeta: given %i of %i, then it is the exact binomial sum (DLMF 8.17.5)", (k, n, top, bottom) => {
  const share = Number(top) / Number(bottom);
  expect(incompleteBeta(1 - share, n - k, k + 1)).toBeCloseTo(exactAtMost(k, n, top, bottom), 9);
});

test("incompleteBeta: given a million trials, then it still agrees with the normal limit, within its error", () => {
  // P(X <= 10,000) for a mean of 10,000 is a half and a bit: 1/2 + (q - p + 3/2 ...)/ (3 sqrt(2 pi n p q)), De Moivre and Laplace.
  const value = incompleteBeta(0.99, 990_000, 10_001);
  expect(value).toBeGreaterThan(0.5);
  expect(value).toBeLessThan(0.504);
});

// One-sided 95 % limits of a Poisson count, which a share of very many trials follows (Garwood, Biometrika 28, 1936;
// Pearson and Hartley, Biometrika Tables, table 40).
test.each([
  [0, 0, 2.996],
  [1, 0.0513, 4.744],
  [2, 0.3554, 6.296],
  [3, 0.8177, 7.754],
  [5, 1.97, 10.513],
  [10, 5.425, 16.962],
])("proportionBounds: given %i of ten million, then the limits are those of the table", (hits, low, high) => {
  const bounds = proportionBounds({ hits, trials: 1e7 });
  expect(bounds.low * 1e7).toBeCloseTo(low, 2);
  expect(bounds.high * 1e7).toBeCloseTo(high, 2);
});

test("proportionBounds: given all or none, then the limit is the root of 5 %", () => {
  expect(proportionBounds({ hits: 0, trials: 3787 }).high).toBeCloseTo(1 - 0.05 ** (1 / 3787), 10);
  expect(proportionBounds({ hits: 20, trials: 20 })).toEqual({ low: expect.closeTo(0.05 ** (1 / 20), 10), high: 1 });
});

test("judgeProportion: given nothing lost of too few packets for 0.01 %, then undecided, and kept from 29,956 on", () => {
  expect(judgeProportion({ hits: 0, trials: 3787 }, 1e-4)).toBe("undecided");
  expect(judgeProportion({ hits: 0, trials: 29_955 }, 1e-4)).toBe("undecided");
  expect(judgeProportion({ hits: 0, trials: 29_956 }, 1e-4)).toBe("kept");
  expect(trialsToDecide({ hits: 0, trials: 3787 }, 1e-4)).toBe(29_956);
});

test("judgeProportion: given more than the limit, then broken once chance would show so many less than once in twenty", () => {
  // At 1 % of 100: P(X >= 3) = 7.9 %, P(X >= 4) = 1.8 %, by the exact sums.
  expect(1 - exactAtMost(2, 100, 1n, 100n)).toBeGreaterThan(0.05);
  expect(1 - exactAtMost(3, 100, 1n, 100n)).toBeLessThan(0.05);
  expect(judgeProportion({ hits: 3, trials: 100 }, 0.01)).toBe("undecided");
  expect(judgeProportion({ hits: 4, trials: 100 }, 0.01)).toBe("broken");
  expect(judgeProportion({ hits: 4, trials: 100 }, 0.01, 10)).toBe("undecided");
  expect(judgeProportion({ hits: 100, trials: 100 }, 0.01, 300)).toBe("broken");
});

test("judgeProportion: given a limit of 0, then it is about these packets, however few", () => {
  expect(judgeProportion({ hits: 0, trials: 3 }, 0)).toBe("kept");
  expect(judgeProportion({ hits: 1, trials: 1e6 }, 0)).toBe("broken");
  expect(judgeProportion({ hits: 0, trials: 0 }, 0)).toBe("undecided");
});

test("trialsToDecide: given a share on either side of the limit, then so many decide it if it stays, and 2 % fewer do not", () => {
  for (const [hits, trials, limit] of [
    [1, 1900, 0.001],
    [12, 1900, 0.005],
    [3, 700, 0.02],
  ] as const) {
    const needed = trialsToDecide({ hits, trials }, limit) ?? Number.NaN;
    const at = (all: number): string => judgeProportion({ hits: (hits / trials) * all, trials: all }, limit);
    expect([at(needed), at(0.98 * needed)]).toEqual([hits / trials > limit ? "broken" : "kept", "undecided"]);
  }
});

test("trialsToDecide: given just the limit, then no number decides it", () => {
  expect(trialsToDecide({ hits: 1, trials: 1000 }, 0.001)).toBeNull();
});
