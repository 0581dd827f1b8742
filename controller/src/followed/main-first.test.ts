import { expect, test } from "vitest";
import { mainFirst } from "./read-followed.ts";

test.each([
  ["a picture that has most bytes, whatever the packets", { 2222: 200_000, 1111: 1_900_000 }, [1111, 2222]],
  ["the same with its sound at the smaller number", { 1111: 200_000, 2222: 1_900_000 }, [2222, 1111]],
  ["two redundant streams, of which one counted a little more", { 7: 1_000_000, 9: 1_010_000 }, [7, 9]],
  ["the same in a run in which the other did", { 7: 1_010_000, 9: 1_000_000 }, [7, 9]],
  ["two alike and a small one", { 3: 10_000, 7: 1_000_000, 9: 990_000 }, [7, 9, 3]],
])("mainFirst: given %s, then the same one keeps the stream's name in every run", (_what, bytes, order) => {
  expect(mainFirst(new Map(Object.entries(bytes).map(([ssrc, count]) => [Number(ssrc), count])))).toEqual(order);
});
