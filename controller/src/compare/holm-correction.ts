export interface Tested {
  /** Of a two-sided test. */
  readonly p: number;
  /** The least that this test could reach with the data it had, however different the runs were. */
  readonly leastP: number;
}

/**
 * Which of many tests stand, so that the chance of any false alarm among all of them stays below `level` (Holm,
 * Scandinavian Journal of Statistics 6, 1979). Tests that could not have reached the level at all are not counted among
 * the many (Tarone, Biometrics 46, 1990), which no package in the registry does.
 * @returns in the order of `tests`
 */
export function standingTests(tests: readonly Tested[], level: number): readonly boolean[] {
  let counted = tests.length;
  for (let most = 1; most <= tests.length; most++) {
    const able = tests.filter(({ leastP }) => leastP <= level / most).length;
    if (able <= most) {
      counted = most;
      break;
    }
  }
  const order = tests
    .map(({ p, leastP }, index) => ({ p, index, isAble: leastP <= level / counted }))
    .filter(({ isAble }) => isAble)
    .sort((a, b) => a.p - b.p);
  const stands: boolean[] = tests.map(() => false);
  for (const [rank, { p, index }] of order.entries()) {
    if (p > level / (order.length - rank)) break;
    stands[index] = true;
  }
  return stands;
}
