import type { SiteIndex } from "./site-index.ts";
import { waysByNumber } from "./ways-from.ts";

/**
 * The ways from one source to every node it reaches: a tree, directed away from the source. Nodes and segments by
 * their numbers in the site index; -1 where there is none.
 */
export interface SourceTree {
  readonly source: number;
  readonly parent: Int32Array;
  /** Segment into each node. */
  readonly into: Int32Array;
  /** Nodes reached, every parent before its children. */
  readonly order: readonly number[];
}

/**
 * By VLANs and routers (`sourceWays` of the site package), the ways that the index names where there are several; hosts
 * do not forward.
 */
export function sourceTree(site: SiteIndex, source: number): SourceTree {
  if (!site.hasRouters || !site.hasLoops) return linkTree(site, source);
  const name = site.nodes[source]?.name ?? "";
  const ways = waysByNumber(site.graph, name, site.alternatives.get(name) ?? 0);
  const parent = new Int32Array(site.nodes.length).fill(-1);
  const into = new Int32Array(site.nodes.length).fill(-1);
  const order = [source];
  for (const [node, segment] of ways ?? []) {
    const number = site.nodeNumber.get(node) ?? -1;
    parent[number] = site.nodeNumber.get(segment.from.node) ?? -1;
    into[number] = site.segmentNumber.get(segment.id) ?? -1;
    order.push(number);
  }
  return { source, parent, into, order };
}

/** The same where no router makes a choice; in time for hundreds of sources on a thousand nodes. */
export function linkTree(site: SiteIndex, source: number): SourceTree {
  const parent = new Int32Array(site.nodes.length).fill(-1);
  const into = new Int32Array(site.nodes.length).fill(-1);
  const order = [source];
  for (let at = 0; at < order.length; at++) {
    const node = order[at] ?? source;
    if (node !== source && site.nodes[node]?.kind === "host") continue;
    for (const segment of site.outgoing[node] ?? []) {
      const next = site.target[segment] ?? source;
      if (next === source || parent[next] !== -1) continue;
      parent[next] = node;
      into[next] = segment;
      order.push(next);
    }
  }
  return { source, parent, into, order };
}

/** True when the tree leads to the node. */
export const reaches = (tree: SourceTree, node: number): boolean => node === tree.source || tree.parent[node] !== -1;

/** Nodes from the source's first neighbour down to `node`; empty when it is the source or is not reached. */
export function nodesDownTo(tree: SourceTree, node: number): number[] {
  const nodes: number[] = [];
  for (let at = node; at !== tree.source && at !== -1; at = tree.parent[at] ?? -1) nodes.push(at);
  return reaches(tree, node) ? nodes.reverse() : [];
}

/** True when the way to `node` leads through `top`, or it is `top` itself. */
export function isAtOrBelow(tree: SourceTree, node: number, top: number): boolean {
  for (let at = node; at !== -1; at = tree.parent[at] ?? -1) if (at === top) return true;
  return false;
}
