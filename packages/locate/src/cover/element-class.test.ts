import { expect, test } from "vitest";
import { drawInteger, drawSome, seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { ClassIndex, type ElementClass } from "./element-class.ts";

const PAIRS = Array.from({ length: 12 }, (_, pair) => pair);

/** The greedy rule as it is written (Chvatal 1979): each time what explains most of what is left, the first of equals. */
function plainGreedy(classes: readonly ElementClass[], chosen: number, excluded: readonly number[]): number | null {
  const wanted = new Set(classes[chosen]?.covers);
  const rivals = classes.filter((_, number) => !excluded.includes(number));
  let faults = 0;
  while (wanted.size > 0) {
    const hits = rivals.map(({ covers }) => covers.filter((pair) => wanted.has(pair)).length);
    const most = Math.max(0, ...hits);
    if (most === 0) return null;
    for (const pair of rivals[hits.indexOf(most)]?.covers ?? []) wanted.delete(pair);
    faults++;
  }
  return faults;
}

test("faultsWithout: given any classes, then as many faults as the plain greedy rule takes, null included", () => {
  const random = seededRandom(23);
  const seen = new Set<number | null>();
  for (let round = 0; round < 500; round++) {
    const classes = Array.from({ length: drawInteger(random, 2, 14) }, (): ElementClass => {
      const covers = drawSome(random, PAIRS, drawInteger(random, 1, 8)).sort((a, b) => a - b);
      return { covers, elements: [], weight: 1 };
    });
    const chosen = drawInteger(random, 0, classes.length - 1);
    const excluded = [chosen, ...[...classes.keys()].filter(() => random() < 0.2)];
    const faults = new ClassIndex(classes).faultsWithout(chosen, excluded);
    expect(faults).toBe(plainGreedy(classes, chosen, excluded));
    seen.add(faults);
  }
  expect(seen.size).toBeGreaterThan(3); // they were not all alike
});

test("ambiguityOf: given a choice, then each class that explains all that the chosen one alone explains may stand for it", () => {
  const of = (...covers: number[]): ElementClass => ({ covers, elements: [], weight: 1 });
  const index = new ClassIndex([of(0, 1), of(0, 1, 2), of(2, 3), of(3), of(2)]);
  // 0 alone explains pairs 0 and 1, 2 alone explains 2 and 3.
  expect(index.ambiguityOf([0, 2], [[0, 2]])).toEqual([
    { exchangeable: [0, 1], others: [] },
    { exchangeable: [2], others: [] },
  ]);
  // Beside 1, which explains pair 2 as well, 2 is needed for pair 3 alone.
  expect(
    index
      .ambiguityOf(
        [1, 2],
        [
          [1, 2],
          [0, 2],
        ],
      )
      .map(({ exchangeable }) => exchangeable),
  ).toEqual([
    [1, 0],
    [2, 3],
  ]);
});
