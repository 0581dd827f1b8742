import type { DeltaLayout, FindingMark, SiteTree } from "@dyetrace/picture";
import type { LayoutBox } from "./map-view.ts";

const ABOVE = 60;
const BESIDE = 130;

/** The part of the map that a finding is about: its suspects, what they hang from, and what hangs directly below. */
export function placesToShow(mark: FindingMark, tree: SiteTree, layout: DeltaLayout): LayoutBox {
  const about = new Set([mark.node, ...mark.drawnOn, ...mark.suspects.map(({ node }) => node)]);
  const names = [...about].flatMap((name) => {
    const node = tree.byName.get(name);
    return [name, node?.parent ?? name, ...(node?.children.map((child) => child.node.name) ?? [])];
  });
  const places = names.flatMap((name) => layout.places.get(name) ?? []);
  const xs = places.map(({ x }) => x);
  const ys = places.map(({ y }) => y);
  const left = Math.min(...xs) - BESIDE;
  const top = Math.min(...ys) - ABOVE;
  return { x: left, y: top, width: Math.max(...xs) + BESIDE - left, height: Math.max(...ys) + ABOVE - top };
}
