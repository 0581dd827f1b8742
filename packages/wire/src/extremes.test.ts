import { expect, test } from "vitest";
import { greatestOf, leastOf } from "./extremes.ts";

test("greatestOf, leastOf: given more values than the stack holds, then they are found", () => {
  const many = Array.from({ length: 1_000_000 }, (_, i) => (i * 7919) % 1_000_003);
  expect(() => Math.max(...many)).toThrow(RangeError); // what they are there for
  const sorted = Float64Array.from(many).sort();
  expect([leastOf(many), greatestOf(many)]).toEqual([sorted[0], sorted.at(-1)]);
});

test("greatestOf, leastOf: given none, then what was given for that, as Math.max and Math.min have it", () => {
  expect([greatestOf([]), leastOf([])]).toEqual([Math.max(), Math.min()]);
  expect([greatestOf([], 3), greatestOf([2], 3), leastOf([2], 3), leastOf([4], 3)]).toEqual([3, 3, 2, 3]);
  expect(greatestOf([1, Number.NaN])).toBeNaN();
});
