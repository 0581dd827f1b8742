import type { LinkSegment, SiteGraph } from "../model/site-model.ts";
import { pathBetween } from "./site-path.ts";

/** The union of the paths from a source to its listeners, directed away from the source. */
export interface DistributionTree {
  readonly source: string;
  /** Nodes on the tree, the source first, every node after the one above it. */
  readonly nodes: readonly string[];
  /** In the order in which the paths first use them: every segment after the one above it. */
  readonly segments: readonly LinkSegment[];
  /** By segment id: the listeners whose path uses it, in the order given. */
  readonly listenersBelow: ReadonlyMap<string, readonly string[]>;
  /** Listeners to which no way leads, in the order given. */
  readonly unreachable: readonly string[];
}

/** @param source, listeners names of nodes (not of agents) */
export function distributionTree(graph: SiteGraph, source: string, listeners: readonly string[]): DistributionTree {
  const nodes = new Set([source]);
  const segments = new Map<string, LinkSegment>();
  const listenersBelow = new Map<string, string[]>();
  const unreachable: string[] = [];
  for (const listener of new Set(listeners)) {
    const path = pathBetween(graph, source, listener);
    if (path === null) unreachable.push(listener);
    for (const segment of path?.segments ?? []) {
      nodes.add(segment.to.node);
      segments.set(segment.id, segment);
      listenersBelow.set(segment.id, [...(listenersBelow.get(segment.id) ?? []), listener]);
    }
  }
  return { source, nodes: [...nodes], segments: [...segments.values()], listenersBelow, unreachable };
}
