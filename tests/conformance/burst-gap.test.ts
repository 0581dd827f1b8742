import { summariseBurstGaps } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { trackPattern } from "./track-arrivals.ts";

const summaryOf = (pattern: string, bad = "0X") => summariseBurstGaps(trackPattern(pattern, bad).spans);

/** A share as RFC 3611's 8-bit fixed point number: the integer part of 256 times it, 255 at most. */
const rfc3611Byte = (ratio: number): number => Math.min(255, Math.floor(256 * ratio));

/** RFC 3611, section 4.7.2: 1 good, 0 lost, X discarded. As printed it is one symbol short of the 64 that the text says. */
const RFC_PATTERN = "11110111111111111111111X111X1011110111111111111111111X111111111";

test("burst and gap: given the pattern of RFC 3611 with its 64th packet, then a burst of 12 lies between gaps of 23 and 29", () => {
  const summary = summaryOf(`${RFC_PATTERN}1`);
  // The RFC prints gaps 23 and 29 and burst 12; the mean gap that its field asks for is 26 packets, 260 ms at 10 ms.
  expect(summary).toMatchObject({ bursts: 1, gaps: 2, meanBurstPackets: 12, meanGapPackets: 26 });
  // It prints densities 84 and 10, from rounded percentages; exactly they are 256 * 4/12 and 256 * 2/52.
  expect(rfc3611Byte(summary.burstDensity ?? 0)).toBe(85);
  expect(rfc3611Byte(summary.gapDensity ?? 0)).toBe(9);
  expect(rfc3611Byte(3 / 64)).toBe(12); // loss rate and discard rate as printed: 3 lost and 3 discarded
});

test("burst and gap: given the pattern of RFC 3611 as printed, then the gap density is 10", () => {
  const summary = summaryOf(RFC_PATTERN);
  expect(summary).toMatchObject({ bursts: 1, gaps: 2, meanBurstPackets: 12, meanGapPackets: 25.5 });
  expect(rfc3611Byte(summary.burstDensity ?? 0)).toBe(85);
  expect(rfc3611Byte(summary.gapDensity ?? 0)).toBe(10);
});

const good = (count: number): string => "1".repeat(count);

// Computed by hand from the definition in RFC 3611, section 4.7.2, with Gmin 16.
test.each([
  {
    name: "15 good between two losses",
    pattern: `${good(20)}0${good(15)}0${good(20)}`,
    summary: { bursts: 1, meanBurstPackets: 17, meanGapPackets: 20 },
    bytes: [30, 0],
  },
  {
    name: "16 good between two losses",
    pattern: `${good(20)}0${good(16)}0${good(20)}`,
    summary: { bursts: 0, gaps: 1, meanBurstPackets: null, meanGapPackets: 58 },
    bytes: [null, 8],
  },
  {
    name: "bursts of 27 and 2 and an isolated loss",
    pattern: `${good(40)}0000${good(6)}0${good(15)}0${good(16)}0${good(40)}00${good(33)}`,
    summary: { bursts: 2, gaps: 3, meanBurstPackets: 14.5, meanGapPackets: 130 / 3 },
    bytes: [70, 1],
  },
])("burst and gap: given $name, then they are those of the definition", ({ pattern, summary, bytes }) => {
  const seen = summaryOf(pattern);
  expect(seen).toMatchObject(summary);
  const asByte = (ratio: number | null): number | null => (ratio === null ? null : rfc3611Byte(ratio));
  expect([asByte(seen.burstDensity), asByte(seen.gapDensity)]).toEqual(bytes);
});

test("burst and gap: given 5 lost at the start and 20 good, then the burst begins the run and one gap follows", () => {
  // The lead is known from the source's account; here the pattern's first packet is good to open the run.
  const summary = summaryOf(`100000${good(20)}`);
  expect(summary).toMatchObject({ bursts: 1, gaps: 2, meanBurstPackets: 5, meanGapPackets: 10.5, burstDensity: 1 });
});

test("burst and gap: given the lowest density that a burst can have, then it is above 6.25 %; the highest of a gap is 1/17", () => {
  // RFC 3611, section 4.7.6: sparse losses 16 apart (15 good between) are a burst, 17 apart (16 good) a gap.
  const burst = summaryOf(`1${`0${good(15)}`.repeat(100)}0${good(16)}`);
  expect(burst.bursts).toBe(1);
  expect(burst.burstDensity ?? 0).toBeGreaterThan(0.0625);
  const gap = summaryOf(`${good(16)}${`0${good(16)}`.repeat(100)}`);
  expect(gap.bursts).toBe(0);
  expect(gap.gapDensity ?? 1).toBeLessThanOrEqual(1 / 17);
});
