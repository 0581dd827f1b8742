import { type Block, move } from "./delta-block.ts";
import type { DeltaLayout, DeltaOptions } from "./delta-place.ts";
import { oneBank } from "./one-bank.ts";
import type { SiteTree } from "./site-tree.ts";
import { twoBanks } from "./two-banks.ts";

/** Narrower than this, everything runs down one bank so that names stay readable. */
const ONE_BANK_BELOW = 640;
const MARGIN = 28;

/**
 * Lays a site out as an irrigation channel: the source at the head, water running down. A switch stands at the head of
 * its own channel; hosts are outlets on both sides of it, further switches hang below from a cross channel, or, where
 * that would grow too wide, stand in rows along the channel. Pure geometry; units are pixels at scale 1.
 */
export function layOutDelta(tree: SiteTree, options: DeltaOptions): DeltaLayout {
  if (options.width < ONE_BANK_BELOW) return finish(oneBank(tree.root, options));
  // More than this many switches below one stand in rows: the smallest picture for the space at hand wins.
  const candidates = [99, 8, 6, 4, 3, 2, 1].map((most) => twoBanks(tree.root, options, most));
  const fit = (block: Block): number =>
    Math.min(options.width / (block.left + block.right), options.height / block.height);
  return finish(candidates.reduce((best, one) => (fit(one) > fit(best) * 1.02 ? one : best)));
}

function finish(block: Block): DeltaLayout {
  const placed = move(block, block.left + MARGIN, MARGIN);
  return {
    places: new Map(placed.map((place) => [place.name, place])),
    width: block.left + block.right + 2 * MARGIN,
    height: block.height + 2 * MARGIN,
  };
}
