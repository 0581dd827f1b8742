import { layer2Domain } from "../model/layer2-domain.ts";
import type { NodeKind, SiteGraph } from "../model/site-model.ts";
import { unfoldVlans } from "../vlans/unfold-vlans.ts";

export interface SiteQuerier {
  /** A node of the unfolded site. */
  readonly node: string;
  /** True when the plan declares none and this is only the likeliest place. */
  readonly isAssumed: boolean;
}

/**
 * @param firstSource node from which the first stream comes
 * @returns the declared querier (with VLANs: of the source's own); else the node nearest to `firstSource` that can query;
 * null if there is none
 */
export function querierOf(graph: SiteGraph, firstSource: string): SiteQuerier | null {
  const site = unfoldVlans(graph);
  const domain = site.vlans === undefined ? null : layer2Domain(site, firstSource);
  for (const node of site.nodes.values()) {
    if (node.isQuerier && (domain === null || domain.has(node.name))) return { node: node.name, isAssumed: false };
  }
  const reached = new Set(site.nodes.has(firstSource) ? [firstSource] : []);
  for (const at of reached) {
    if (canQuery(site.nodes.get(at)?.kind)) return { node: at, isAssumed: true };
    for (const segment of site.outgoing.get(at) ?? []) reached.add(segment.to.node);
  }
  return null;
}

/** Every node that the plan declares as querier, and the one nearest to `firstSource` where its VLAN has none. */
export function queriersOf(graph: SiteGraph, firstSource: string): SiteQuerier[] {
  const declared = [...unfoldVlans(graph).nodes.values()]
    .filter((node) => node.isQuerier)
    .map(({ name }): SiteQuerier => ({ node: name, isAssumed: false }));
  const nearest = querierOf(graph, firstSource);
  return nearest === null || !nearest.isAssumed ? declared : [...declared, nearest];
}

/** An unmanaged switch only forwards, and a host must not query. */
const canQuery = (kind: NodeKind | undefined): boolean =>
  kind === "switch" || kind === "access-point" || kind === "router";
