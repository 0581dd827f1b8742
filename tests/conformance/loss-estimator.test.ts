import fc from "fast-check";
import { expect, test } from "vitest";
import { COLUMNS, LinkEstimate, writeVariances } from "../../packages/locate/src/loss/link-estimate.ts";
import { estimateLoss } from "../../packages/locate/src/loss/loss-estimator.ts";
import { lossInterval, T_95_OF_20_BLOCKS, Z_95 } from "../../packages/locate/src/loss/loss-interval.ts";
import { countLosses, type LossTree } from "../../packages/locate/src/loss/loss-tree.ts";
import type { SeqRange } from "../../packages/locate/src/run/run-observations.ts";

/**
 * The loss estimator of R. Caceres, N. Duffield, J. Horowitz, D. Towsley, "Multicast-based inference of network-internal
 * loss characteristics", IEEE Trans. IT 45(7), 1999. The example was worked by hand, step by step, from the equation
 * 1 - gamma_k/A_k = PRODUCT (1 - gamma_j/A_k):
 *
 *     S--w; w--L1, w--v; v--L2, v--L3; n = 1000
 */
const example: LossTree = {
  // 0 source, 1 w, 2 L1, 3 v, 4 L2, 5 L3
  parents: [0, 0, 1, 1, 3, 3],
  lostBy: [
    null,
    null,
    [
      [100, 109],
      [500, 509],
      [600, 619],
    ],
    null,
    [
      [100, 109],
      [200, 229],
      [300, 317],
      [500, 509],
    ],
    [
      [100, 109],
      [200, 229],
      [400, 447],
      [500, 509],
    ],
  ],
  sent: [[0, 999]],
};

/** By the number of the link's lower end; the source has none. */
const linksOf = (tree: LossTree): LinkEstimate[] => {
  const rows = estimateLoss(tree);
  return tree.lostBy.map((_, node) => new LinkEstimate(rows, node * COLUMNS));
};

test("loss estimator: given the worked example, then gamma of every node comes from the intersected lists", () => {
  const { gammas } = countLosses(example);
  expect([...gammas].map((gamma) => Number(gamma.toFixed(3)))).toEqual([1, 0.98, 0.96, 0.95, 0.932, 0.902]);
});

test("loss estimator: given the worked example, then the five links lose 1.94, 2.11, 3.03, 2.00 and 5.15 per cent", () => {
  const losses = linksOf(example)
    .slice(1)
    .map((link) => link.rawLossRatio);
  // alpha: S-w .980645, w-L1 .978947, w-v .969747, v-L2 .980044, v-L3 .948498
  expect(losses.map((loss) => Number((1 - loss).toFixed(6)))).toEqual([
    0.980645, 0.978947, 0.969747, 0.980044, 0.948498,
  ]);
});

test("loss estimator: given the worked example, then the intervals for independent losses are those worked by hand", () => {
  const expected: readonly (readonly [number, number])[] = [
    [1.23, 3.01],
    [1.37, 3.23],
    [2.1, 4.33],
    [1.27, 3.13],
    [3.91, 6.76],
  ];
  for (const [i, link] of linksOf(example).slice(1).entries()) {
    const { low, high } = lossInterval([link], Z_95, "not-counted");
    expect(Number((low * 100).toFixed(2))).toBe(expected[i]?.[0]);
    expect(Number((high * 100).toFixed(2))).toBe(expected[i]?.[1]);
  }
});

test("loss estimator: given the worked example, then the link w-v has the variance and the burst factor worked by hand", () => {
  const link = linksOf(example)[3];
  if (link === undefined) throw new Error("w-v has an estimate");
  const variance = new Float64Array(1);
  writeVariances(link.rows, link.at, 1 - link.rawLossRatio, variance);
  // n Var(ln alpha) = .033683, SE = .969747 sqrt(.033683/1000) = .005628
  expect(0.969747 * Math.sqrt((variance[0] ?? Number.NaN) / 1000)).toBeCloseTo(0.005628, 6);
  // "With 20 blocks phi is about 31 and the interval becomes 0.4 .. 17 %."
  expect(link.burstFactor).toBeGreaterThan(30);
  expect(link.burstFactor).toBeLessThan(32);
  const { low, high } = lossInterval([link], T_95_OF_20_BLOCKS);
  expect(low).toBeCloseTo(0.004, 3);
  expect(high).toBeCloseTo(0.17, 2);
});

test("loss estimator: given no loss at all, then the upper limit is 3.84/n: 1000 packets cannot exclude 0.38 per cent", () => {
  const sound: LossTree = { ...example, lostBy: example.lostBy.map((list) => (list === null ? null : [])) };
  for (const link of linksOf(sound).slice(1)) {
    const { lossRatio, low, high } = lossInterval([link], Z_95);
    expect(lossRatio).toBe(0);
    expect(low).toBe(0);
    expect(high).toBeCloseTo(0.00384, 4);
  }
});

const lostNumbers = fc
  .uniqueArray(fc.nat({ max: 399 }), { minLength: 1, maxLength: 200 })
  .map((numbers) => numbers.toSorted((a, b) => a - b).map((n): SeqRange => [n, n]));

test("loss estimator: given any two listeners below one node, then the root found is the closed form to 1e-9", () => {
  // A = gamma_1 gamma_2 / (gamma_1 + gamma_2 - gamma): capture and recapture.
  fc.assert(
    fc.property(lostNumbers, lostNumbers, (first, second) => {
      const tree: LossTree = { parents: [0, 0, 1, 1], lostBy: [null, null, first, second], sent: [[0, 399]] };
      const { gammas } = countLosses(tree);
      const [, both = 0, one = 0, two = 0] = gammas;
      const closed = (one * two) / (one + two - both);
      fc.pre(Number.isFinite(closed) && closed <= 1);
      expect(1 - (linksOf(tree)[1]?.rawLossRatio ?? Number.NaN)).toBeCloseTo(closed, 9);
    }),
  );
});

test("loss estimator: given losses that only make sense as more than everything passed, then the link lost nothing", () => {
  // The listeners never miss the same packet, so what each missed was lost below w; w itself comes out above 1.
  const tree: LossTree = {
    parents: [0, 0, 1, 1],
    lostBy: [null, null, [[10, 59]], [[100, 149]]],
    sent: [[0, 999]],
  };
  const links = linksOf(tree);
  if (!links[1]) throw new Error("the contracted link has an estimate, too");
  expect(links[1].rawLossRatio).toBeLessThanOrEqual(0);
  const interval = lossInterval([links[1]], Z_95, "not-counted");
  expect(interval.lossRatio).toBe(0);
  expect(interval.high).toBeGreaterThan(0);
  expect(interval.high).toBeLessThan(0.01);
  // With w contracted, the listeners hang on the source and their loss is what they missed.
  expect(links[2]?.rawLossRatio).toBeCloseTo(0.05, 9);
  expect(links[3]?.rawLossRatio).toBeCloseTo(0.05, 9);
});

test("loss estimator: given one branch that saw all that the union saw, then the root is the union's share exactly", () => {
  const tree: LossTree = {
    parents: [0, 0, 1, 1],
    lostBy: [
      null,
      null,
      [[10, 19]],
      [
        [10, 19],
        [500, 599],
      ],
    ],
    sent: [[0, 999]],
  };
  const links = linksOf(tree);
  expect(links[1]?.rawLossRatio).toBeCloseTo(0.01, 12);
  expect(links[2]?.rawLossRatio).toBeCloseTo(0, 12);
  expect(links[3]?.rawLossRatio).toBeCloseTo(100 / 990, 12);
});

test("loss estimator: given two streams over one segment, then they are weighted by 1/variance (Bu et al. 2002), not pooled", () => {
  const small = linksOf({ parents: [0, 0], lostBy: [null, [[0, 9]]], sent: [[0, 99]] })[1];
  const large = linksOf({ parents: [0, 0], lostBy: [null, [[0, 199]]], sent: [[0, 9_999]] })[1];
  if (!small || !large) throw new Error("both links have an estimate");
  // For a single link V(l) = l(1-l)/n, so that the weights go as n at any common l.
  const { lossRatio, low, high } = lossInterval([small, large], Z_95, "not-counted");
  expect(lossRatio).toBeCloseTo((0.1 * 100 + 0.02 * 10_000) / 10_100, 9);
  expect(low).toBeGreaterThan(0.018);
  expect(high).toBeLessThan(0.024);
});
