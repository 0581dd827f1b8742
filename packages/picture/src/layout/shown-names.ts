import type { NodePlace } from "./delta-place.ts";

/** Names are not written smaller than at this scale: below it they keep their size on the screen. */
const SMALLEST_SCALE = 0.82;

/** How much larger than the drawing names are written, so that they can be read at any zoom. @param scale of the map */
export const nameGrowth = (scale: number): number => Math.max(1, SMALLEST_SCALE / scale);

/** Steps of scale between which the same names are shown: they must not flicker with each turn of a wheel. */
const STEP = 2 ** 0.25;
export const scaleStep = (scale: number): number => STEP ** Math.floor(Math.log(scale) / Math.log(STEP) + 1e-9);

const NAME_AT = 19;
const LINE = 17;

/**
 * Which names find room at a zoom, the most important first; each name is among them once the zoom is near enough. Pure.
 * @param rankOf the smaller, the more important; of equal ranks the first place wins
 * @param widthOf of what is written, in pixels at scale 1; 0 where nothing is
 * @param linesOf lines that are written beside the place
 */
export function shownNames(
  places: Iterable<NodePlace>,
  scale: number,
  rankOf: (name: string) => number,
  widthOf: (place: NodePlace) => number,
  linesOf: (place: NodePlace) => number,
): ReadonlySet<string> {
  const grow = nameGrowth(scale);
  const shown = new Set<string>();
  const grid = new Map<string, Box[]>();
  const cell = 90 * grow;
  const cellsOf = ({ left, right, top, bottom }: Box): readonly string[] => {
    const keys: string[] = [];
    for (let x = Math.floor(left / cell); x <= Math.floor(right / cell); x++) {
      for (let y = Math.floor(top / cell); y <= Math.floor(bottom / cell); y++) keys.push(`${x} ${y}`);
    }
    return keys;
  };
  const byRank = [...places]
    .map((place, index) => ({ place, rank: rankOf(place.name), index }))
    .sort((a, b) => a.rank - b.rank || a.index - b.index);
  for (const { place } of byRank) {
    const width = widthOf(place) * grow;
    const near = place.x + (place.label === "left" ? -NAME_AT - width : NAME_AT);
    const top = place.y - 9 * grow;
    const box: Box = { left: near, right: near + width, top, bottom: top + linesOf(place) * LINE * grow };
    const keys = cellsOf(box);
    // A scale of 1 has room for every name: the layout was made so.
    const isFree = grow === 1 || !keys.some((key) => grid.get(key)?.some((other) => overlaps(box, other)) === true);
    if (!isFree) continue;
    shown.add(place.name);
    for (const key of keys) {
      const known = grid.get(key);
      if (known === undefined) grid.set(key, [box]);
      else known.push(box);
    }
  }
  return shown;
}

interface Box {
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
}

const overlaps = (a: Box, b: Box): boolean =>
  a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
