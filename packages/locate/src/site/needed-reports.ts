import type { SiteIndex } from "./site-index.ts";
import type { SourceTree } from "./source-tree.ts";

/** Listeners at or below every node of the tree, by the node's number. */
export function countBelow(site: SiteIndex, tree: SourceTree, listening: Iterable<number>): Int32Array {
  const below = new Int32Array(site.nodes.length);
  for (const host of listening) below[host] = (below[host] ?? 0) + 1;
  for (let at = tree.order.length - 1; at > 0; at--) {
    const node = tree.order[at] ?? 0;
    const parent = tree.parent[node] ?? 0;
    below[parent] = (below[parent] ?? 0) + (below[node] ?? 0);
  }
  return below;
}

/**
 * Membership reports travel against the data. If they are lost on the way out of `node` towards the source, the nearest
 * node above that keeps group state closes its port, and everything behind that port falls silent. For that every
 * member behind the port must lie below `node`: one report from elsewhere keeps the port open.
 */
export function areReportsNeeded(site: SiteIndex, tree: SourceTree, node: number, below: Int32Array): boolean {
  let port = node;
  for (let at = tree.parent[node] ?? -1; at !== -1; at = tree.parent[at] ?? -1) {
    const kind = site.nodes[at]?.kind;
    if (kind === "switch" || kind === "router") return below[port] === below[node];
    port = at;
  }
  return false;
}
