import { expect, test } from "vitest";
import { clockTicks } from "./clock-ticks.ts";

const MOST = 8;
const ticksOf = (from: string, spanMs: number) =>
  clockTicks(Date.parse(from), spanMs, MOST, 0).map(({ atMs, label }) => [atMs, label]);

test("clockTicks: given a run of three seconds, then its seconds are told, and none lies beyond its end", () => {
  expect(ticksOf("2026-11-29T18:39:05.500Z", 3000)).toEqual([
    [500, "18:39:06"],
    [1500, "18:39:07"],
    [2500, "18:39:08"],
  ]);
});
