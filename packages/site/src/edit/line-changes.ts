/** A line of two texts: in both, in the earlier one alone, or in the later one alone. Numbers count from 0. */
export type LineChange =
  | { readonly kind: "kept"; readonly before: number; readonly after: number }
  | { readonly kind: "removed"; readonly before: number }
  | { readonly kind: "added"; readonly after: number };

/** Beyond this many pairs the middle counts as exchanged whole: the table of pairs would be too large. */
const MOST_PAIRS = 4_000_000;

/**
 * What one list of lines has that another has not, by the longest list of lines that they have in common.
 * @param keyOf lines with the same key are the same
 * @returns in the order of the texts; of a place that was changed first what was removed
 */
export function lineChanges(
  before: readonly string[],
  after: readonly string[],
  keyOf: (line: string) => string = (line) => line,
): readonly LineChange[] {
  const [a, b] = [before.map(keyOf), after.map(keyOf)];
  let head = 0;
  while (head < a.length && head < b.length && a[head] === b[head]) head++;
  let tail = 0;
  while (tail < a.length - head && tail < b.length - head && a.at(-1 - tail) === b.at(-1 - tail)) tail++;
  const changes: LineChange[] = [];
  for (let at = 0; at < head; at++) changes.push({ kind: "kept", before: at, after: at });
  changes.push(...middle(a.slice(head, a.length - tail), b.slice(head, b.length - tail), head));
  for (let left = tail; left > 0; left--) {
    changes.push({ kind: "kept", before: a.length - left, after: b.length - left });
  }
  return changes;
}

function middle(a: readonly string[], b: readonly string[], from: number): readonly LineChange[] {
  const width = b.length + 1;
  const isTooLarge = (a.length + 1) * width > MOST_PAIRS;
  // How many lines the rests of the two lists, from each pair of places on, have in common.
  const common = new Uint32Array(isTooLarge ? 0 : (a.length + 1) * width);
  const at = (i: number, j: number): number => common[i * width + j] ?? 0;
  if (!isTooLarge) {
    for (let i = a.length - 1; i >= 0; i--) {
      for (let j = b.length - 1; j >= 0; j--) {
        common[i * width + j] = a[i] === b[j] ? at(i + 1, j + 1) + 1 : Math.max(at(i + 1, j), at(i, j + 1));
      }
    }
  }
  const changes: LineChange[] = [];
  for (let i = 0, j = 0; i < a.length || j < b.length; ) {
    if (!isTooLarge && i < a.length && j < b.length && a[i] === b[j]) {
      changes.push({ kind: "kept", before: from + i++, after: from + j++ });
    } else if (i < a.length && (isTooLarge || j === b.length || at(i + 1, j) >= at(i, j + 1))) {
      changes.push({ kind: "removed", before: from + i++ });
    } else changes.push({ kind: "added", after: from + j++ });
  }
  return changes;
}
