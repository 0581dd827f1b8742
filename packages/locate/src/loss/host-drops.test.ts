import { expect, test } from "vitest";
import { withoutHostDrops } from "./host-drops.ts";
import type { LinkEstimate } from "./link-estimate.ts";

/** A link that 1,000 packets reach. */
const link = (lossRatio: number): LinkEstimate => ({
  rawLossRatio: lossRatio,
  packets: 1_000,
  passAbove: 1,
  below: null,
  beside: null,
  burstFactor: 1,
});
const lossesOf = (losses: readonly number[], dropped: readonly (number | null)[]): (number | undefined)[] =>
  withoutHostDrops([null, ...losses.map(link)], PARENTS, [null, ...dropped]).map((one) => one?.rawLossRatio);

// Worked by hand on: source, branch 1, branch 2 below it, listeners 3 and 4 below 2, listener 5 below 1.
const PARENTS = [0, 0, 1, 2, 2, 1];

test("withoutHostDrops: given hosts below a branch that dropped the same packets, then nothing is lost above them", () => {
  // 3 lost 10 + 30 and counted 40, 4 lost 20 + 30 and counted 50.
  const [, top, branch, three, four, five] = lossesOf([0, 0.03, 0.01, 0.02, 0], [null, null, 40, 50, 0]);
  expect(branch).toBeCloseTo(0, 12);
  expect([top, three, four, five]).toEqual([0, 0, 0, 0]);
});

test("withoutHostDrops: given drops that the hosts' own links account for, then what the link above loses is the network's", () => {
  expect(lossesOf([0, 0.03, 0.04, 0.05, 0], [null, null, 40, 50, 0])).toEqual([undefined, 0, 0.03, 0, 0, 0]);
});

test("withoutHostDrops: given one host below that dropped nothing, then nothing above is explained by the others' drops", () => {
  expect(lossesOf([0.02, 0.03, 0, 0, 0], [null, null, 60, 0, 60])).toEqual([undefined, 0.02, 0.03, 0, 0, 0]);
});

test("withoutHostDrops: given drops that all hosts share, then they are taken out up to the first link", () => {
  const [, top, branch] = lossesOf([0.02, 0.01, 0, 0, 0], [null, null, 30, 30, 20]);
  expect(top).toBeCloseTo(0, 12);
  expect(branch).toBeCloseTo(0, 12);
});

test("withoutHostDrops: given a link that chance made let through more than it got, then it stays as it is", () => {
  expect(lossesOf([0, -0.01, 0, 0, 0], [null, null, 30, 30, 0])).toEqual([undefined, 0, -0.01, 0, 0, 0]);
});
