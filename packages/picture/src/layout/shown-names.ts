import type { NodePlace } from "./delta-place.ts";

/** Names are not written smaller than at this scale: below it they keep their size on the screen. */
const SMALLEST_SCALE = 0.82;

/** How much larger than the drawing names are written, so that they can be read at any zoom. @param scale of the map */
export const nameGrowth = (scale: number): number => Math.max(1, SMALLEST_SCALE / scale);

/** Steps of scale between which the same names are shown: they must not flicker with each turn of a wheel. */
const STEP = 2 ** 0.25;
export const scaleStep = (scale: number): number => STEP ** Math.floor(Math.log(scale) / Math.log(STEP) + 1e-9);

/** How far from its place a name is written. */
export const NAME_AT = 19;
const LINE = 17;
/** Between two names on one line: the end of one and the beginning of the next are not read as one word. */
const BETWEEN_NAMES = 8;

/** What is written beside a place: its width in pixels at scale 1, and its lines. */
export interface PlaceLabel {
  readonly width: number;
  readonly lines: number;
}

/** In pixels of the layout. */
export interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** Where a label lies. @param grow how much larger than in the layout it is written */
export function labelBox(
  { x, y, label }: Pick<NodePlace, "x" | "y" | "label">,
  { width, lines }: PlaceLabel,
  grow: number,
): Box {
  const [away, wide] = [NAME_AT * grow, width * grow];
  return {
    x: label === "left" ? x - away - wide : x + away,
    y: y - 9 * grow,
    width: wide,
    height: lines * LINE * grow,
  };
}

/**
 * Which names find room at a zoom, the most important first; each name is among them once the zoom is near enough. Pure.
 * @param rankOf the smaller, the more important; of equal ranks the first place wins
 * @param labelOf what is written beside a place
 */
export function shownNames(
  places: Iterable<NodePlace>,
  scale: number,
  rankOf: (name: string) => number,
  labelOf: (place: NodePlace) => PlaceLabel,
): ReadonlySet<string> {
  const grow = nameGrowth(scale);
  const shown = new Set<string>();
  const grid = new Map<string, Box[]>();
  const cell = 90 * grow;
  const cellsOf = ({ x: left, y: top, width, height }: Box): readonly string[] => {
    const keys: string[] = [];
    for (let x = Math.floor(left / cell); x <= Math.floor((left + width) / cell); x++) {
      for (let y = Math.floor(top / cell); y <= Math.floor((top + height) / cell); y++) keys.push(`${x} ${y}`);
    }
    return keys;
  };
  const byRank = [...places]
    .map((place, index) => ({ place, rank: rankOf(place.name), index }))
    .sort((a, b) => a.rank - b.rank || a.index - b.index);
  for (const { place } of byRank) {
    const label = labelOf(place);
    const box = labelBox(place, { ...label, width: label.width + BETWEEN_NAMES }, grow);
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

const overlaps = (a: Box, b: Box): boolean =>
  a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;
