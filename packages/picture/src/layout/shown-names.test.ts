import fc from "fast-check";
import { expect, test } from "vitest";
import type { NodePlace } from "./delta-place.ts";
import { nameGrowth, scaleStep, shownNames } from "./shown-names.ts";

const place = (name: string, x: number, y: number): NodePlace => ({
  name,
  x,
  y,
  label: "right",
  header: [],
  approach: [],
  inlet: [],
  foldedNodes: 0,
});
const WIDTH = 80;
const shownAt = (places: readonly NodePlace[], scale: number) =>
  shownNames(
    places,
    scale,
    (name) => Number(name),
    () => ({ width: WIDTH, lines: 1 }),
  );

const anyPlaces = fc
  .array(fc.tuple(fc.integer({ min: 0, max: 900 }), fc.integer({ min: 0, max: 900 })), { minLength: 1, maxLength: 60 })
  .map((spots) => spots.map(([x, y], index) => place(String(index), x, y)));

test("shownNames: given any places and zoom, then the most important name is shown and no two overlap", () => {
  fc.assert(
    fc.property(anyPlaces, fc.double({ min: 0.08, max: 0.8, noNaN: true }), (places, scale) => {
      const shown = shownAt(places, scale);
      expect(shown.has("0")).toBe(true);
      const boxes = places.filter(({ name }) => shown.has(name));
      const grow = nameGrowth(scale);
      for (const [index, a] of boxes.entries()) {
        for (const b of boxes.slice(index + 1)) {
          expect(Math.abs(a.x - b.x) >= WIDTH * grow || Math.abs(a.y - b.y) >= 17 * grow).toBe(true);
        }
      }
    }),
  );
});

test("shownNames: given the layout's own scale, then each name is shown", () => {
  fc.assert(
    fc.property(anyPlaces, (places) => {
      expect(shownAt(places, 1).size).toBe(places.length);
    }),
  );
});

test("scaleStep: given any scale, then the step is that scale or less, by a fifth at most", () => {
  fc.assert(
    fc.property(fc.double({ min: 0.08, max: 3, noNaN: true }), (scale) => {
      const step = scaleStep(scale);
      expect(step).toBeLessThanOrEqual(scale * (1 + 1e-6));
      expect(step).toBeGreaterThan(scale * 0.8);
    }),
  );
});
