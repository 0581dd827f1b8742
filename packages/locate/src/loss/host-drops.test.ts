import { expect, test } from "vitest";
import { takeOutHostDrops } from "./host-drops.ts";
import { COLUMNS, LinkEstimate, PACKETS, PASS_ABOVE, RAW_LOSS_RATIO } from "./link-estimate.ts";

/** What the links lose once the drops are taken out; 1,000 packets reach each of them. */
function lossesOf(losses: readonly number[], dropped: readonly (number | null)[]): number[] {
  const rows = new Float64Array(PARENTS.length * COLUMNS);
  for (const [i, lossRatio] of losses.entries()) {
    const at = (i + 1) * COLUMNS;
    rows[at + RAW_LOSS_RATIO] = lossRatio;
    rows[at + PACKETS] = 1_000;
    rows[at + PASS_ABOVE] = 1;
  }
  takeOutHostDrops(rows, PARENTS, [null, ...dropped]);
  return losses.map((_, i) => new LinkEstimate(rows, (i + 1) * COLUMNS).rawLossRatio);
}

// Worked by hand on: source, branch 1, branch 2 below it, listeners 3 and 4 below 2, listener 5 below 1.
const PARENTS = [0, 0, 1, 2, 2, 1];

test("takeOutHostDrops: given hosts below a branch that dropped the same packets, then nothing is lost above them", () => {
  // 3 lost 10 + 30 and counted 40, 4 lost 20 + 30 and counted 50.
  const [top, branch, three, four, five] = lossesOf([0, 0.03, 0.01, 0.02, 0], [null, null, 40, 50, 0]);
  expect(branch).toBeCloseTo(0, 12);
  expect([top, three, four, five]).toEqual([0, 0, 0, 0]);
});

test("takeOutHostDrops: given drops that the hosts' own links account for, then what the link above loses is the network's", () => {
  expect(lossesOf([0, 0.03, 0.04, 0.05, 0], [null, null, 40, 50, 0])).toEqual([0, 0.03, 0, 0, 0]);
});

test("takeOutHostDrops: given one host below that dropped nothing, then nothing above is explained by the others' drops", () => {
  expect(lossesOf([0.02, 0.03, 0, 0, 0], [null, null, 60, 0, 60])).toEqual([0.02, 0.03, 0, 0, 0]);
});

test("takeOutHostDrops: given drops that all hosts share, then they are taken out up to the first link", () => {
  const [top, branch] = lossesOf([0.02, 0.01, 0, 0, 0], [null, null, 30, 30, 20]);
  expect(top).toBeCloseTo(0, 12);
  expect(branch).toBeCloseTo(0, 12);
});

test("takeOutHostDrops: given a link that chance made let through more than it got, then it stays as it is", () => {
  expect(lossesOf([0, -0.01, 0, 0, 0], [null, null, 30, 30, 0])).toEqual([0, -0.01, 0, 0, 0]);
});
