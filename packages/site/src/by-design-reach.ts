import { querierOf } from "./querier-of.ts";
import type { LinkSegment, SiteGraph } from "./site-model.ts";

/** Where a stream's frames rightly appear. */
export interface StreamReach {
  readonly nodes: ReadonlySet<string>;
  /** Ids of segments. */
  readonly segments: ReadonlySet<string>;
}

/**
 * Floods from the source under the rules of RFC 4541 section 2.1.2: a switch forwards to ports behind which, inside the
 * layer-2 domain, there is a member, a router or the querier; an unmanaged switch and an access point's radio copy
 * everywhere; a router forwards to an interface only if a member lies behind it; a host never forwards. TTL is not
 * looked at.
 *
 * Membership is by group: name every host that joined the group, also by way of another stream.
 * @param source, joinedHosts, querier names of nodes; `querier` null says that the site has none
 */
export function byDesignReach(
  graph: SiteGraph,
  source: string,
  joinedHosts: Iterable<string>,
  querier: string | null = querierOf(graph, source)?.node ?? null,
): StreamReach {
  const joined = new Set(joinedHosts);
  const kindOf = (node: string) => graph.nodes.get(node)?.kind;
  const isRouterOrQuerier = (node: string): boolean => node === querier || kindOf(node) === "router";

  /** Whether a node that `matches` lies beyond `segment`; `stopsAtRouter`: only up to and including the first router. */
  const liesBehind = (segment: LinkSegment, matches: (node: string) => boolean, stopsAtRouter: boolean): boolean => {
    const entered = [segment];
    for (const { from, to } of entered) {
      if (matches(to.node)) return true;
      if (stopsAtRouter && kindOf(to.node) === "router") continue;
      entered.push(...(graph.outgoing.get(to.node) ?? []).filter((next) => next.to.node !== from.node));
    }
    return false;
  };

  const forwards = (node: string, segment: LinkSegment): boolean => {
    switch (kindOf(node)) {
      case "switch":
        return liesBehind(segment, (other) => joined.has(other) || isRouterOrQuerier(other), true);
      case "router":
        return liesBehind(segment, (other) => joined.has(other), false);
      case "unmanaged":
      case "access-point":
        return true;
      case "host":
      case undefined:
        return false;
    }
  };

  const nodes = new Set(graph.nodes.has(source) ? [source] : []);
  const segments = new Set<string>();
  const queue: LinkSegment[] = [...(graph.outgoing.get(source) ?? [])];
  for (const segment of queue) {
    segments.add(segment.id);
    nodes.add(segment.to.node);
    for (const next of graph.outgoing.get(segment.to.node) ?? []) {
      if (next.to.node !== segment.from.node && forwards(segment.to.node, next)) queue.push(next);
    }
  }
  return { nodes, segments };
}
