import { expect, test } from "vitest";
import { formatRatio } from "./units.ts";

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
