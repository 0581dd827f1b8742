import fc from "fast-check";
import { expect, test } from "vitest";
import { binomialTest, leastBinomialP } from "./binomial-test.ts";
import { standingTests } from "./holm-correction.ts";
import { leastRankSumP, medianShift, rankSumTest, twoSidedNormalP } from "./rank-sum-test.ts";
import { differenceInterval, wilsonInterval } from "./ratio-difference.ts";

test("binomialTest: given even chances, then splits of 10 are as in any table of the binomial distribution", () => {
  // Probabilities of 0, 1, 2 heads in 10 throws: 1, 10 and 45 of 1024 (Pascal's triangle).
  expect(binomialTest(0, 10, 0.5)).toBeCloseTo(2 / 1024, 12);
  expect(binomialTest(9, 10, 0.5)).toBeCloseTo(22 / 1024, 12);
  expect(binomialTest(2, 10, 0.5)).toBeCloseTo(112 / 1024, 12);
  expect(binomialTest(5, 10, 0.5)).toBeCloseTo(1, 12);
  expect(leastBinomialP(10, 0.5)).toBeCloseTo(2 / 1024, 12);
  expect(binomialTest(0, 0, 0.5)).toBe(1);
});

test("binomialTest: given uneven chances, then all splits that are no likelier count, on both sides", () => {
  // 3 trials at 1/4: probabilities 27, 27, 9 and 1 of 64.
  expect(binomialTest(2, 3, 0.25)).toBeCloseTo(10 / 64, 12);
  expect(binomialTest(3, 3, 0.25)).toBeCloseTo(1 / 64, 12);
  // As @stdlib/stats-binomial-test 0.2.2, an independent library, works them out.
  expect(binomialTest(20, 1000, 0.03)).toBeCloseTo(0.06350159923074908, 12);
});

test("rankSumTest: given samples that don't overlap, then p is 2 over the number of ways to deal them", () => {
  expect(rankSumTest([1, 2, 3, 4], [5, 6, 7, 8])).toBeCloseTo(2 / 70, 12); // 8 choose 4
  expect(leastRankSumP(4, 4)).toBeCloseTo(2 / 70, 12);
  expect(rankSumTest([1, 2, 3], [4, 5, 6])).toBeCloseTo(0.1, 12); // the tables' least for 3 and 3
  expect(rankSumTest([], [1])).toBe(1);
  expect(rankSumTest([2, 2], [2, 2])).toBe(1);
});

test("rankSumTest: given small samples, equal values among them, then p is what dealing the values in every way gives", () => {
  const sample = fc.array(fc.integer({ min: 0, max: 6 }), { minLength: 1, maxLength: 5 });
  fc.assert(
    fc.property(sample, sample, (a, b) => {
      // Independent count: the sum over pairs of sign(b - a), under every choice of which values are a's.
      const statistic = (x: readonly number[], y: readonly number[]): number =>
        Math.abs(x.reduce((sum, one) => sum + y.reduce((inner, two) => inner + Math.sign(two - one), 0), 0));
      const all = [...a, ...b];
      const observed = statistic(a, b);
      let [far, ways] = [0, 0];
      for (let mask = 0; mask < 1 << all.length; mask++) {
        const chosen = all.filter((_, i) => (mask >> i) & 1);
        if (chosen.length !== a.length) continue;
        ways++;
        if (
          statistic(
            chosen,
            all.filter((_, i) => !((mask >> i) & 1)),
          ) >= observed
        )
          far++;
      }
      expect(rankSumTest(a, b)).toBeCloseTo(far / ways, 9);
    }),
  );
});

test("rankSumTest: given many values, then the normal approximation meets the exact count where they touch", () => {
  const spread = (count: number, shift: number): number[] => Array.from({ length: count }, (_, i) => i * 1.01 + shift);
  const exact = rankSumTest(spread(30, 0), spread(30, 7.3));
  const normal = rankSumTest(spread(31, 0), spread(31, 7.3));
  expect(Math.abs(exact - normal)).toBeLessThan(0.02);
  expect(twoSidedNormalP(1.959963984540054)).toBeCloseTo(0.05, 6);
});

test("medianShift: given a constant shift, then it is found", () => {
  expect(medianShift([1, 2, 4], [4, 5, 7])).toBe(3);
});

test("wilsonInterval and differenceInterval: given published examples, then the same limits", () => {
  // Newcombe, Statistics in Medicine 17 (1998): 81/263 has 0.2553 to 0.3662 (p. 857, table I, method 3); 56/70 less
  // 48/80 has 0.0524 to 0.3339 (p. 873, table II, method 10). Both from memory.
  const wilson = wilsonInterval(81, 263);
  expect([wilson.low, wilson.high].map((limit) => limit.toFixed(4))).toEqual(["0.2553", "0.3662"]);
  const { low, high } = differenceInterval({ hits: 48, trials: 80 }, { hits: 56, trials: 70 });
  expect([low, high].map((limit) => limit.toFixed(4))).toEqual(["0.0524", "0.3339"]);
});

test("standingTests: given Holm's steps, then each p meets its own bar, and the first that fails ends it", () => {
  const able = (p: number) => ({ p, leastP: 0 });
  // 0.01 <= 0.05/4, 0.02 > 0.05/3, so the rest falls too (by hand from the definition).
  expect(standingTests([0.01, 0.02, 0.03, 0.5].map(able), 0.05)).toEqual([true, false, false, false]);
  expect(standingTests([0.5, 0.012, 0.01, 0.024].map(able), 0.05)).toEqual([false, true, true, true]);
});

test("standingTests: given tests that could not reach the level, then they don't make the others' bar higher", () => {
  const weak = { p: 1, leastP: 0.3 };
  expect(standingTests([{ p: 0.04, leastP: 0.001 }, weak, weak, weak], 0.05)).toEqual([true, false, false, false]);
});
