import { expect, test } from "vitest";
import { formatCount, formatRatio } from "./units.ts";

test("formatRatio: given any share, then it is written as people write it and never as a power of ten", () => {
  const shares = [0, 0.00001, 0.0000123, 1e-9, 2.5e-10, 0.0000999, 0.118, 1];
  expect(shares.map(formatRatio)).toEqual([
    "0 %",
    "0.001 %",
    "0.00123 %",
    "0.0000001 %",
    "0.000000025 %",
    "0.00999 %",
    "11.8 %",
    "100 %",
  ]);
});

test("formatCount: given counts, then up to four digits stand together, and more in groups of three", () => {
  // SI Brochure, 9th edition, section 5.4.4
  expect([0, 999, 1520, 14247, 100000, 1234567].map(formatCount)).toEqual([
    "0",
    "999",
    "1520",
    "14\u202f247",
    "100\u202f000",
    "1\u202f234\u202f567",
  ]);
});
