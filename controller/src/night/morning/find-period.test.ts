import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { findPeriod } from "./find-period.ts";

const NIGHT_NS = 8 * 3600e9;
const NAMED = [60e9, 125e9, 250e9, 3600e9];
const LEVEL = 0.001;

test("findPeriod: given instants every 47 s that jitter by a second, then that period, with its chance, though nobody named it", () => {
  const random = seededRandom(3);
  const instants = Array.from({ length: 200 }, (_, i) => (11 + 47 * i + random()) * 1e9);
  const found = findPeriod(instants, NIGHT_NS, NAMED, LEVEL);
  expect((found?.periodNs ?? 0) / 1e9).toBeCloseTo(47, 1);
  expect(found?.p).toBeLessThan(1e-6);
});

test("findPeriod: given instants at a named period, then just that one; given its double, then the double", () => {
  const every = (seconds: number) => Array.from({ length: 60 }, (_, i) => (7 + seconds * i) * 1e9);
  expect(findPeriod(every(125), NIGHT_NS, NAMED, LEVEL)?.periodNs).toBe(125e9);
  expect(findPeriod(every(250), NIGHT_NS, NAMED, LEVEL)?.periodNs).toBe(250e9);
});

test("findPeriod: given 20 instants at random, fifty nights long, then hardly ever a period", () => {
  const random = seededRandom(4);
  const nights = Array.from({ length: 50 }, () => Array.from({ length: 20 }, () => random() * NIGHT_NS));
  const found = nights.filter((instants) => findPeriod(instants, NIGHT_NS, NAMED, LEVEL) !== null);
  expect(found.length).toBeLessThanOrEqual(1); // 0.05 by the level
});
