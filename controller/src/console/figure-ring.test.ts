import type { LiveFigures } from "@dyetrace/wire/console/live-second";
import fc from "fast-check";
import { expect, test } from "vitest";
import { FigureRing } from "./figure-ring.ts";

const anyFigures: fc.Arbitrary<LiveFigures> = fc.record({
  received: fc.nat(),
  lost: fc.nat(),
  hostLost: fc.option(fc.nat()),
  rateBps: fc.nat(),
  jitterMs: fc.option(fc.double({ min: 0, max: 1e3, noNaN: true })),
  longestGapMs: fc.option(fc.double({ min: 0, max: 1e5, noNaN: true })),
});

test("FigureRing: given figures of any second, then they come back as they were, unknown parts included", () => {
  fc.assert(
    fc.property(fc.nat({ max: 10_000 }), anyFigures, (second, figures) => {
      const ring = new FigureRing(60);
      ring.put(second, figures);
      expect(ring.get(second)).toEqual(figures);
    }),
  );
});

test("FigureRing: given a second that was not told of, or is too long ago, then it is unknown", () => {
  const ring = new FigureRing(10);
  const figures = { received: 1, lost: 0, hostLost: null, rateBps: 8, jitterMs: null, longestGapMs: null };
  for (let second = 0; second < 15; second++) if (second !== 9) ring.put(second, { ...figures, received: second });
  expect(ring.get(14)?.received).toBe(14);
  expect(ring.get(4)).toBeNull(); // its place is second 14's
  expect(ring.get(9)).toBeNull();
  expect(ring.get(15)).toBeNull();
  expect(ring.get(-1)).toBeNull();
});
