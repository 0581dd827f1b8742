/** Uniform numbers in [0, 1), the same for the same seed: the whole state is in the closure. */
export type Random = () => number;

/** A 32-bit mixing generator (public domain "mulberry32"): good enough to draw sites and losses, not for secrets. */
export function seededRandom(seed: number): Random {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = state;
    mixed = Math.imul(mixed ^ (mixed >>> 15), mixed | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** A whole number from `low` to `high`, both included. */
export const drawInteger = (random: Random, low: number, high: number): number =>
  low + Math.floor(random() * (high - low + 1));

/** One of the items. */
export function drawOne<T>(random: Random, items: readonly T[]): T {
  const item = items[Math.floor(random() * items.length)];
  if (item === undefined) throw new RangeError("Cannot draw from an empty list");
  return item;
}

/** `count` different items (all of them when there are fewer), in the order drawn. */
export function drawSome<T>(random: Random, items: readonly T[], count: number): T[] {
  const left = [...items];
  const drawn: T[] = [];
  while (drawn.length < count && left.length > 0) {
    drawn.push(...left.splice(Math.floor(random() * left.length), 1));
  }
  return drawn;
}
