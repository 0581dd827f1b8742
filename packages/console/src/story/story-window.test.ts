import { expect, test } from "vitest";
import { moveWindow, zoomWindow } from "./story-window.ts";

const WHOLE = { fromMs: -2000, toMs: 38_000 };

test("zoomWindow: given an instant, then it stays where it is, within the whole time", () => {
  expect(zoomWindow(WHOLE, WHOLE, 2, 8000)).toEqual({ fromMs: 3000, toMs: 23_000 });
  expect(zoomWindow({ fromMs: 3000, toMs: 23_000 }, WHOLE, 0.1, 8000)).toEqual(WHOLE);
  expect(zoomWindow(WHOLE, WHOLE, 2, -2000)).toEqual({ fromMs: -2000, toMs: 18_000 });
});

test("zoomWindow: given zooming in without end, then some time is still shown", () => {
  const shown = zoomWindow({ fromMs: 1000, toMs: 1020 }, WHOLE, 100, 1010);
  expect(shown.toMs - shown.fromMs).toBe(20);
});

test("moveWindow: given a move past an end, then it stops there with its length", () => {
  expect(moveWindow({ fromMs: 0, toMs: 10_000 }, WHOLE, 0.5)).toEqual({ fromMs: 5000, toMs: 15_000 });
  expect(moveWindow({ fromMs: 30_000, toMs: 38_000 }, WHOLE, 1)).toEqual({ fromMs: 30_000, toMs: 38_000 });
  expect(moveWindow({ fromMs: 0, toMs: 10_000 }, WHOLE, -9)).toEqual({ fromMs: -2000, toMs: 8000 });
});
