import { interLossPeriodLengths, noticeableLossRate } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { stayNumbers, totalReceipt, trackPattern } from "./track-arrivals.ts";

interface Example {
  readonly source: string;
  /** 1 is lost. */
  readonly pattern: string;
  readonly lengths: readonly number[];
  readonly between: readonly number[];
  /** For delta 1, 2 and 3. */
  readonly noticeable: readonly number[];
}

const examples: readonly Example[] = [
  {
    source: "RFC 3357, sections 5.4.3 and 6.5 (noticeable for delta 2: the RFC's, for 1 and 3: by its formula)",
    pattern: "0100101011",
    lengths: [1, 1, 1, 2],
    between: [0, 3, 2, 2],
    noticeable: [1 / 5, 3 / 5, 4 / 5],
  },
  {
    source: "RFC 3357, section 4",
    pattern: "0001001110100111",
    lengths: [1, 3, 1, 3],
    between: [0, 3, 2, 3],
    noticeable: [4 / 8, 5 / 8, 7 / 8],
  },
  {
    source: "computed by hand from the definitions of RFC 3357",
    pattern: "1100111000000000100",
    lengths: [2, 3, 1],
    between: [0, 3, 10],
    noticeable: [3 / 6, 3 / 6, 4 / 6],
  },
];

for (const { source, pattern, lengths, between, noticeable } of examples) {
  test(`loss pattern: given ${pattern}, then periods, their distances and noticeable loss are those of ${source}`, () => {
    const source = { sentPackets: pattern.length, firstExpectedSeq: 0, intervalNs: 1e6 };
    const receipt = trackPattern(pattern, "1");
    const ranges = stayNumbers(receipt, source).missing.map(({ firstSeq, count }) => [firstSeq, count] as const);
    expect(ranges.map(([, count]) => count)).toEqual(lengths);
    expect(interLossPeriodLengths(ranges)).toEqual(between);
    expect([1, 2, 3].map((delta) => noticeableLossRate([ranges], delta))).toEqual(noticeable);
    expect(totalReceipt(receipt, source).lossPattern).toMatchObject({
      periods: lengths.length,
      longestPeriod: Math.max(...lengths),
    });
  });
}

test("loss distance: given packets 20 and 50 lost, then it is 30", () => {
  expect(
    interLossPeriodLengths([
      [20, 1],
      [50, 1],
    ]),
  ).toEqual([0, 30]); // RFC 3357
});

test("noticeable loss: given delta 99 and losses at 50 and 125 to 127, then the last three are noticeable", () => {
  expect(
    noticeableLossRate(
      [
        [
          [50, 1],
          [125, 3],
        ],
      ],
      99,
    ),
  ).toBe(3 / 4); // RFC 3357
});

test("noticeable loss: given delta 99 and losses at 100, 175, 275, 290 and 400, then 175 and 290 are noticeable", () => {
  // RFC 3357
  expect(
    noticeableLossRate(
      [
        [
          [100, 1],
          [175, 1],
          [275, 1],
          [290, 1],
          [400, 1],
        ],
      ],
      99,
    ),
  ).toBe(2 / 5);
});

test("noticeable loss: given no loss, then it is unknown", () => {
  expect(noticeableLossRate([], 99)).toBeNull();
});
