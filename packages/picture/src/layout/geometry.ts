import type { Point, Polyline } from "./delta-place.ts";

export const pathOf = (line: Polyline): string =>
  line.map(([x, y], index) => `${index === 0 ? "M" : "L"}${round(x)} ${round(y)}`).join("");

const round = (value: number): number => Math.round(value * 10) / 10;

/**
 * A shape that is drawn around a place. Not by a `transform` of its own: a browser keeps a layer for each of those apart,
 * and with a thousand of them a map can't be moved sixty times a second.
 * @param steps path commands, relative to the place
 */
export const shapeAt = ({ x, y }: { readonly x: number; readonly y: number }, steps: string): string =>
  `M${round(x)} ${round(y)}${steps}`;

/** A point on a polyline and the direction of the flow there, as a unit vector. */
export interface Spot {
  readonly x: number;
  readonly y: number;
  readonly dx: number;
  readonly dy: number;
}

/** @param distance pixels from the start; past the end it is the end */
export function spotAt(line: Polyline, distance: number): Spot {
  let left = distance;
  for (let index = 1; index < line.length; index++) {
    const from = line[index - 1];
    const to = line[index];
    if (from === undefined || to === undefined) break;
    const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
    if (length === 0) continue;
    const isLast = index === line.length - 1;
    if (left <= length || isLast) {
      const share = Math.min(1, Math.max(0, left / length));
      const dx = (to[0] - from[0]) / length;
      const dy = (to[1] - from[1]) / length;
      return { x: from[0] + (to[0] - from[0]) * share, y: from[1] + (to[1] - from[1]) * share, dx, dy };
    }
    left -= length;
  }
  const [x, y] = line[0] ?? [0, 0];
  return { x, y, dx: 0, dy: 1 };
}

export const lengthOf = (line: Polyline): number =>
  line.reduce((sum, point, index) => {
    const before: Point | undefined = line[index - 1];
    return before === undefined ? 0 : sum + Math.hypot(point[0] - before[0], point[1] - before[1]);
  }, 0);

/** The part of a polyline from its start to `distance`, or with `fromThere` the rest of it. */
export function cut(line: Polyline, distance: number, fromThere = false): Polyline {
  const spot = spotAt(line, distance);
  const point: Point = [spot.x, spot.y];
  let run = 0;
  const before: Point[] = [];
  const after: Point[] = [];
  for (const [index, next] of line.entries()) {
    const previous = line[index - 1];
    if (previous !== undefined) run += Math.hypot(next[0] - previous[0], next[1] - previous[1]);
    (run <= distance ? before : after).push(next);
  }
  return fromThere ? [point, ...after] : [...before, point];
}

/** How wide a channel is drawn that carries so much: each tenfold rate adds the same. */
export function channelWidth(rateBps: number | null): number {
  if (rateBps === null || rateBps <= 0) return 7;
  const width = Math.min(16, Math.max(4, 4 + 3 * Math.log10(rateBps / 100_000)));
  return Math.round(width * 2) / 2; // a rate that wavers by a packet must not make the banks tremble
}
