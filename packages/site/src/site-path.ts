import type { LinkSegment, SiteGraph, SitePath } from "./site-model.ts";

/**
 * The way from one node to another. A site plan is a tree (`loadSitePlan` refuses anything else), so there is one way.
 * @returns null if a node is unknown or no way leads there; a path of one node and no segment if both are the same
 */
export function pathBetween(graph: SiteGraph, from: string, to: string): SitePath | null {
  if (!graph.nodes.has(from) || !graph.nodes.has(to)) return null;
  const arrivedBy = new Map<string, LinkSegment | null>([[from, null]]);
  // A Map may grow while it is walked: it is the queue of the breadth-first search, too.
  for (const [node] of arrivedBy) {
    for (const segment of graph.outgoing.get(node) ?? []) {
      if (!arrivedBy.has(segment.to.node)) arrivedBy.set(segment.to.node, segment);
    }
  }
  const segments: LinkSegment[] = [];
  for (let at = to; at !== from; ) {
    const segment = arrivedBy.get(at);
    if (segment === undefined || segment === null) return null;
    segments.unshift(segment);
    at = segment.from.node;
  }
  return { nodes: [from, ...segments.map((segment) => segment.to.node)], segments };
}
