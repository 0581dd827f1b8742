/**
 * The greatest of some values. `Math.max(...values)` puts each of them on the stack, which ends the program from some 100,000 on.
 * @param least the answer where there are none or all are below it
 */
export function greatestOf(values: Iterable<number>, least: number = Number.NEGATIVE_INFINITY): number {
  let greatest = least;
  for (const value of values) greatest = Math.max(greatest, value);
  return greatest;
}

/** The least of some values, see `greatestOf`. @param greatest the answer where there are none or all are above it */
export function leastOf(values: Iterable<number>, greatest: number = Number.POSITIVE_INFINITY): number {
  let least = greatest;
  for (const value of values) least = Math.min(least, value);
  return least;
}
