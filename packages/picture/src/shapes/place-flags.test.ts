import { expect, test } from "vitest";
import type { DeltaLayout, NodePlace } from "../layout/delta-place.ts";
import type { Box } from "../layout/shown-names.ts";
import type { FindingMark } from "../water/finding-marks.ts";
import { placeFlags } from "./place-flags.ts";

const place = (name: string, x: number, y: number, inlet: NodePlace["inlet"] = []): NodePlace => ({
  name,
  x,
  y,
  label: "right",
  header: [],
  approach: [],
  inlet,
  foldedNodes: 0,
});
const layoutOf = (...places: readonly NodePlace[]): DeltaLayout => ({
  places: new Map(places.map((one) => [one.name, one])),
  width: 500,
  height: 500,
});
const mark = (index: number, node: string): FindingMark => ({
  index,
  glyph: "stop",
  word: "STOPS",
  node,
  on: "channel",
  suspects: [],
  drawnOn: [node],
  carrying: [],
});
const OPTIONS = { scale: 1, width: () => 60, label: () => ({ width: 50, lines: 1 }), markAt: () => 30 };
const overlaps = (a: Box, b: Box): boolean =>
  a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;

test("placeFlags: given a free channel, then its flag hides neither the node nor its name", () => {
  const layout = layoutOf(
    place("pier", 300, 200, [
      [200, 200],
      [300, 200],
    ]),
  );
  const [flag] = placeFlags([mark(0, "pier")], layout, OPTIONS);
  const name = { x: 319, y: 190, width: 54, height: 20 };
  const node = { x: 285, y: 186, width: 30, height: 28 };
  if (flag === undefined) throw new Error("no flag");
  expect(overlaps(flag.box, name)).toBe(false);
  expect(overlaps(flag.box, node)).toBe(false);
});

test("placeFlags: given two findings at one place, then their flags do not lie on one another", () => {
  const layout = layoutOf(
    place("pier", 300, 200, [
      [200, 200],
      [300, 200],
    ]),
  );
  const [one, other] = placeFlags([mark(0, "pier"), mark(1, "pier")], layout, OPTIONS);
  if (one === undefined || other === undefined) throw new Error("a flag is missing");
  expect(overlaps(one.box, other.box)).toBe(false);
});

test("placeFlags: given a small scale, then flags grow in the layout so that they keep their size on the screen", () => {
  const layout = layoutOf(place("pier", 300, 200));
  const [flag] = placeFlags([mark(0, "pier")], layout, { ...OPTIONS, scale: 0.25 });
  expect(flag?.box.width).toBe(240);
});

test("placeFlags: given a mark on a node that is folded away, then it has no flag", () => {
  expect(placeFlags([mark(0, "gone")], layoutOf(), OPTIONS)).toEqual([]);
});

test("placeFlags: given a node at the lower edge, then its flag stays within the picture", () => {
  const layout = layoutOf(
    place("pier", 300, 485, [
      [200, 485],
      [300, 485],
    ]),
  );
  const [flag] = placeFlags([mark(0, "pier")], layout, OPTIONS);
  expect(flag === undefined ? Number.NaN : flag.box.y + flag.box.height).toBeLessThanOrEqual(500);
});

test("placeFlags: given a reading below the name, then the flag hides it no more than the name, also where letters are larger than in the layout", () => {
  const layout = layoutOf(place("pier", 250, 250));
  for (const scale of [1, 0.4]) {
    const label = () => ({ width: 120, lines: 2 });
    const [flag] = placeFlags([{ ...mark(0, "pier"), on: "node" }], layout, { ...OPTIONS, scale, label });
    const grow = Math.max(1, 0.82 / scale);
    const written = { x: 250 + 19 * grow, y: 250 - 9 * grow, width: 120 * grow, height: 34 * grow };
    if (flag === undefined) throw new Error("no flag");
    expect(overlaps(flag.box, written)).toBe(false);
  }
});
