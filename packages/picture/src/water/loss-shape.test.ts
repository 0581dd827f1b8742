import type { ReportReceipt } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { isInterrupted } from "./loss-shape.ts";

type Gap = ReportReceipt["gaps"][number];
const gap = (count: number, durationMs: number | null): Gap => ({
  firstSeq: 1,
  count,
  startMs: durationMs === null ? null : 100,
  durationMs,
});
const told = (gaps: readonly Gap[], lost: number | null): Pick<ReportReceipt, "gaps" | "lost"> => ({
  gaps: [...gaps],
  lost,
});

test("isInterrupted: given two outages that explain what is missing, then it is; given as much here and there, then it is not", () => {
  expect(isInterrupted(told([gap(191, 1010), gap(95, 500)], 290), 5.3)).toBe(true);
  expect(
    isInterrupted(
      told(
        Array.from({ length: 145 }, () => gap(2, 16)),
        290,
      ),
      5.3,
    ),
  ).toBe(false);
  // The list may be cut: what is not in it is not taken for outages.
  expect(isInterrupted(told([gap(191, 1010)], 900), 5.3)).toBe(false);
});

test("isInterrupted: given a slow stream that lost packets one by one, then long gaps are no outages; given what came first is missing, then its packets tell how long", () => {
  expect(isInterrupted(told([gap(1, 400), gap(1, 400)], 2), 200)).toBe(false);
  expect(isInterrupted(told([gap(190, null)], 190), 5.3)).toBe(true);
  expect(isInterrupted(told([], 0), 5.3)).toBe(false);
  expect(isInterrupted(told([], null), 5.3)).toBe(false);
});
