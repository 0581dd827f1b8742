import { describe, expect, test } from "vitest";
import { fitView, pointToKeep, zoomView } from "./map-view.ts";

const FRAME = { width: 800, height: 600 };
const view = { scale: 0.5, x: 40, y: 20 };

/** Where a point of the layout lies in the frame. */
const seenAt = (of: typeof view, point: { readonly x: number; readonly y: number }) => ({
  x: point.x * of.scale + of.x,
  y: point.y * of.scale + of.y,
});

describe("the view of the map", () => {
  test("given a place in sight, when the button zooms in nine times and out again, then it stays where it was", () => {
    const place = { x: 1400, y: 1000 };
    const before = seenAt(view, place);
    let now = view;
    for (const factor of [...Array.from({ length: 9 }, () => 1.2), ...Array.from({ length: 9 }, () => 1 / 1.2)]) {
      now = zoomView(now, factor, pointToKeep(now, place, FRAME));
      expect(seenAt(now, place).x).toBeCloseTo(before.x);
      expect(seenAt(now, place).y).toBeCloseTo(before.y);
    }
  });

  test("given nothing is selected, or it is out of sight, then the middle stays", () => {
    const middle = { x: 400, y: 300 };
    expect(pointToKeep(view, undefined, FRAME)).toEqual(middle);
    expect(pointToKeep(view, { x: 4000, y: 10 }, FRAME)).toEqual(middle);
    expect(pointToKeep(view, { x: 100, y: -100 }, FRAME)).toEqual(middle);
  });

  test("given a map that is larger than the frame, then all of it fits", () => {
    const { scale, x, y } = fitView({ width: 4000, height: 900 }, FRAME);
    expect(seenAt({ scale, x, y }, { x: 4000, y: 900 }).x).toBeLessThanOrEqual(FRAME.width);
    expect([x, y].every((at) => at >= 0)).toBe(true);
  });
});
