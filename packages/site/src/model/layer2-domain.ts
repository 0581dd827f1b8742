import type { SiteGraph, SiteLink } from "./site-model.ts";

/**
 * The nodes that a layer-2 broadcast from `node` reaches: without passing through a router. Routers at the edge of the
 * domain belong to it; for a router the result is the union of the domains that it joins.
 * @param graph without loops that switches close: `unfoldVlans` of a plan
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

/** One site is asked for every source. */
const DOMAINS = new WeakMap<SiteGraph, ReadonlyMap<SiteLink, number>>();

/**
 * Numbers the layer-2 domains by the links they consist of: two links belong together when a node that is no router
 * joins them.
 */
export function domainsOfLinks(graph: SiteGraph): ReadonlyMap<SiteLink, number> {
  const known = DOMAINS.get(graph) ?? numberDomains(graph);
  DOMAINS.set(graph, known);
  return known;
}

function numberDomains(graph: SiteGraph): ReadonlyMap<SiteLink, number> {
  const domains = new Map<SiteLink, number>();
  let next = 0;
  for (const first of graph.links) {
    if (domains.has(first)) continue;
    const domain = next++;
    const queue = [first];
    const walked = new Set<string>(); // a core switch has thousands of links, and is met again from each
    domains.set(first, domain);
    for (const link of queue) {
      for (const { node } of [link.a, link.b]) {
        if (walked.has(node) || graph.nodes.get(node)?.kind === "router") continue;
        walked.add(node);
        for (const { link: other } of graph.outgoing.get(node) ?? []) {
          if (domains.has(other)) continue;
          domains.set(other, domain);
          queue.push(other);
        }
      }
    }
  }
  return domains;
}
