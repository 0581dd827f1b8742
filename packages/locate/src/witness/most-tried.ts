import type { SiteGraph } from "@dyetrace/site";
import type { RunObservations } from "../run/run-observations.ts";

/**
 * So many reports and nodes, over all streams, are gone through for all that is tried. A bound of effort, no source: some
 * tenths of a second, and room for all of it on sites of some fifty hosts.
 */
const BUDGET = 100_000;
/** Fewer than this would leave to chance which are tried. Our choice, no source. */
const FEWEST = 10;

/** How many suppositions may be tried on a site and a run; 0 where they are too large for any. */
export function mostTried(graph: SiteGraph, { listeners, bystanders, streams }: RunObservations): number {
  const effort = listeners.length + bystanders.length + graph.nodes.size * streams.length;
  const most = Math.floor(BUDGET / Math.max(1, effort));
  return most < FEWEST ? 0 : most;
}
