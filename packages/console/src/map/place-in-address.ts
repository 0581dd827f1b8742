import type { MapSelection, SiteTree } from "@dyetrace/picture";

/** What an address says of a place on the map: a node's name, or a segment's id. */
export function placeInAddress({ node, on }: MapSelection, tree: SiteTree): string {
  const segmentId = tree.byName.get(node)?.segmentId ?? null;
  return on === "channel" && segmentId !== null ? segmentId : node;
}

/** @returns null where the map has no such place, as on another stream's ways or another site */
export function placeOfAddress(place: string | null, tree: SiteTree): MapSelection | null {
  if (place === null) return null;
  const lower = tree.lowerEnd.get(place);
  if (lower !== undefined) return { node: lower.node.name, on: "channel" };
  return tree.byName.has(place) ? { node: place, on: "node" } : null;
}

/** Findings count from 1 in an address. @returns its position in the report's list; null for one that is not in it */
export function findingOfAddress(text: string | null, count: number): number | null {
  const number = text !== null && /^[1-9][0-9]*$/.test(text) ? Number(text) : 0;
  return number >= 1 && number <= count ? number - 1 : null;
}
