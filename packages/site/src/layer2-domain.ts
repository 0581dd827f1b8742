import type { SiteGraph } from "./site-model.ts";

/**
 * The nodes that a layer-2 broadcast from `node` reaches: without passing through a router. Routers at the edge of the
 * domain belong to it; for a router the result is the union of the domains that it joins.
 * @returns names in the order of distance; empty if `node` is unknown
 */
export function layer2Domain(graph: SiteGraph, node: string): ReadonlySet<string> {
  if (!graph.nodes.has(node)) return new Set();
  const reached = new Set([node]);
  // A Set may grow while it is walked: it is the queue, too.
  for (const at of reached) {
    if (at !== node && graph.nodes.get(at)?.kind === "router") continue;
    for (const segment of graph.outgoing.get(at) ?? []) reached.add(segment.to.node);
  }
  return reached;
}
