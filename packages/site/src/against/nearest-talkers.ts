import type { PortRef, SiteGraph } from "../model/site-model.ts";

/**
 * The ports of known devices that lead to a node with nothing known in between: whoever is there hears them, and they learn its
 * address there. Unmanaged switches, and others that nobody has seen, are passed over.
 */
export function nearestTalkers(graph: SiteGraph, node: string, isKnown: (node: string) => boolean): readonly PortRef[] {
  const found: PortRef[] = [];
  const passed = new Set([node]);
  for (const at of passed) {
    for (const { to, link } of graph.outgoing.get(at) ?? []) {
      if (link.isBlocked === true) continue;
      if (isKnown(to.node)) found.push(to);
      else if (graph.nodes.get(to.node)?.kind !== "host") passed.add(to.node);
    }
  }
  return found;
}
