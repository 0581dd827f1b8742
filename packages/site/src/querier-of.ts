import type { NodeKind, SiteGraph } from "./site-model.ts";

export interface SiteQuerier {
  readonly node: string;
  /** True when the plan declares none and this is only the likeliest place. */
  readonly isAssumed: boolean;
}

/**
 * @param firstSource node from which the first stream comes
 * @returns the declared querier; else the node nearest to `firstSource` that can query; null if there is none
 */
export function querierOf(graph: SiteGraph, firstSource: string): SiteQuerier | null {
  for (const node of graph.nodes.values()) if (node.isQuerier) return { node: node.name, isAssumed: false };
  const reached = new Set(graph.nodes.has(firstSource) ? [firstSource] : []);
  for (const at of reached) {
    if (canQuery(graph.nodes.get(at)?.kind)) return { node: at, isAssumed: true };
    for (const segment of graph.outgoing.get(at) ?? []) reached.add(segment.to.node);
  }
  return null;
}

/** An unmanaged switch only forwards, and a host must not query. */
const canQuery = (kind: NodeKind | undefined): boolean =>
  kind === "switch" || kind === "access-point" || kind === "router";
