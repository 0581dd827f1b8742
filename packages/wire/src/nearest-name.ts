/** No name is longer; each letter written is held against each of every name. */
const MOST_LETTERS = 80;

/**
 * Finds what the user probably meant.
 * @returns the known name that differs least from `written`: in case only, by being its beginning, or in few letters
 * (at most one in three changed, added, dropped or swapped with its neighbour); null when none comes close
 */
export function nearestName(written: string, known: Iterable<string>): string | null {
  if (written.length > MOST_LETTERS) return null;
  const lower = written.toLowerCase();
  let best: { readonly name: string; readonly distance: number } | null = null;
  for (const name of known) {
    const isFar = Math.abs(name.length - written.length) > Math.max(1, Math.floor(written.length / 3));
    if (isFar && !(written.length >= 3 && name.length > written.length)) continue; // as many letters would have to be added
    const candidate = name.toLowerCase();
    const isBeginning = lower.length >= 3 && candidate.startsWith(lower);
    const distance = isBeginning ? Math.min(1, letterDistance(lower, candidate)) : letterDistance(lower, candidate);
    if (distance <= Math.max(1, Math.floor(lower.length / 3)) && (best === null || distance < best.distance)) {
      best = { name, distance };
    }
  }
  // Two names of one letter always differ in one letter: that is no likeness.
  return best !== null && (written.length > 1 || best.distance === 0) ? best.name : null;
}

/** `Did you mean "hall"?`, or `fallback` when nothing comes close. */
export function didYouMean(written: string, known: Iterable<string>, fallback: string): string {
  const name = nearestName(written, known);
  return name === null ? fallback : `Did you mean "${name}"?`;
}

/** Optimal string alignment: Levenshtein's distance with neighbouring letters swapped as one step. */
function letterDistance(a: string, b: string): number {
  let beforeLast: number[] = [];
  let last = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++) {
      const isSame = a[i - 1] === b[j - 1];
      let steps = Math.min((last[j] ?? 0) + 1, (row[j - 1] ?? 0) + 1, (last[j - 1] ?? 0) + (isSame ? 0 : 1));
      const isSwapped = i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1];
      if (isSwapped) steps = Math.min(steps, (beforeLast[j - 2] ?? 0) + 1);
      row.push(steps);
    }
    beforeLast = last;
    last = row;
  }
  return last[b.length] ?? 0;
}
