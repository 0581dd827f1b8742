import { type Block, move } from "./delta-block.ts";
import type { DeltaLayout, DeltaOptions, NodePlace } from "./delta-place.ts";
import { oneBank } from "./one-bank.ts";
import type { SiteTree, TreeNode } from "./site-tree.ts";
import { twoBanks } from "./two-banks.ts";

/** Narrower than this, everything runs down one bank so that names stay readable. */
const ONE_BANK_BELOW = 640;
const MARGIN = 28;
/** More around it where lanes are drawn. */
const LANE_MARGIN = 16;
const BETWEEN_TREES = 64;

/**
 * Lays a site out as an irrigation channel: the source at the head, water running down. A switch stands at the head of
 * its own channel; hosts are outlets on both sides of it, further switches hang below from a cross channel, or, where
 * that would grow too wide, stand in rows along the channel. Pure geometry; units are pixels at scale 1.
 */
export function layOutDelta(tree: SiteTree, options: DeltaOptions): DeltaLayout {
  const hasLanes = [...tree.byName.values()].some(({ vlan }) => vlan !== null);
  const margin = hasLanes && options.width >= ONE_BANK_BELOW ? MARGIN + LANE_MARGIN : MARGIN;
  const blocks = [tree.root, ...tree.apart].map((root) => layOutOne(root, options));
  const places: NodePlace[] = [];
  let top = hasLanes ? MARGIN + LANE_MARGIN : MARGIN;
  for (const block of blocks) {
    places.push(...move(block, block.left + margin, top));
    top += block.height + BETWEEN_TREES;
  }
  return {
    places: new Map(places.map((place) => [place.name, place])),
    width: Math.max(...blocks.map(({ left, right }) => left + right)) + 2 * margin,
    height: top - BETWEEN_TREES + MARGIN + (hasLanes ? LANE_MARGIN : 0),
  };
}

/** How far a level stands to the right of the one above: as far as there is room. */
const INDENTS = [40, 34, 28] as const;

function layOutOne(root: TreeNode, options: DeltaOptions): Block {
  if (options.width < ONE_BANK_BELOW) {
    const room = options.width - 2 * MARGIN;
    const blocks = INDENTS.map((indent) => oneBank(root, options, indent));
    const last = blocks.at(-1);
    const fitting = blocks.find(({ left, right }) => left + right <= room) ?? last;
    if (fitting !== undefined) return fitting;
  }
  // More than this many switches below one stand in rows: the smallest picture for the space at hand wins.
  const candidates = [99, 8, 6, 4, 3, 2, 1].map((most) => twoBanks(root, options, most));
  const fit = (block: Block): number =>
    Math.min(options.width / (block.left + block.right), options.height / block.height);
  return candidates.reduce((best, one) => (fit(one) > fit(best) * 1.02 ? one : best));
}
