import type { LinkSegment, SiteGraph } from "../model/site-model.ts";
import { unfoldVlans } from "../vlans/unfold-vlans.ts";
import { planPlace } from "../vlans/vlan-place.ts";
import { queriersOf } from "./querier-of.ts";
import { segmentsDownTo } from "./site-path.ts";
import { sourceWays } from "./source-ways.ts";

/** Where a stream's frames rightly appear. */
export interface StreamReach {
  readonly nodes: ReadonlySet<string>;
  /** Ids of segments. */
  readonly segments: ReadonlySet<string>;
}

/**
 * Floods from the source under the rules of RFC 4541 section 2.1.2: a switch forwards to ports behind which, inside the
 * layer-2 domain, there is a member, a router or the querier; an unmanaged switch and an access point's radio copy
 * everywhere; a router forwards to an interface only if a member lies behind it, on a way that the routers may choose; a
 * host never forwards. TTL is not looked at.
 *
 * Membership is by group: name every host that joined the group, also by way of another stream.
 * @param source, joinedHosts, querier names of nodes; `querier` null says that the site has none
 * @returns names as the plan has them
 */
export function byDesignReach(
  graph: SiteGraph,
  source: string,
  joinedHosts: Iterable<string>,
  querier?: string | null,
): StreamReach {
  const { nodes, segments } = reachByVlan(graph, source, joinedHosts, querier);
  return { nodes: new Set([...nodes].map(planPlace)), segments: new Set([...segments].map(planPlace)) };
}

/** The same with names of the unfolded site: a trunk once for every VLAN in which the stream crosses it. */
export function reachByVlan(
  plan: SiteGraph,
  source: string,
  joinedHosts: Iterable<string>,
  querier?: string | null,
): StreamReach {
  const graph = unfoldVlans(plan);
  const joined = new Set(joinedHosts);
  const queriers = new Set(
    querier === undefined ? queriersOf(graph, source).map(({ node }) => node) : querier === null ? [] : [querier],
  );
  const kindOf = (node: string) => graph.nodes.get(node)?.kind;

  /** Whether somebody in the domain beyond `segment`, routers at its edge included, wants frames there. */
  const isWantedBehind = (segment: LinkSegment): boolean => {
    const entered = new Set([segment.from.node, segment.to.node]);
    for (const node of entered) {
      if (node === segment.from.node) continue;
      if (joined.has(node) || queriers.has(node) || kindOf(node) === "router") return true;
      for (const { to } of graph.outgoing.get(node) ?? []) entered.add(to.node);
    }
    return false;
  };

  const onWays = new Set<string>();
  for (const ways of sourceWays(graph, source)) {
    for (const host of joined) for (const segment of segmentsDownTo(ways, host)) onWays.add(segment.id);
  }
  const forwards = (node: string, segment: LinkSegment): boolean => {
    switch (kindOf(node)) {
      case "switch":
        return isWantedBehind(segment);
      case "router":
        return onWays.has(segment.id);
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
    if (segments.has(segment.id)) continue;
    segments.add(segment.id);
    nodes.add(segment.to.node);
    for (const next of graph.outgoing.get(segment.to.node) ?? []) {
      if (next.to.node === segment.from.node || segments.has(next.id)) continue;
      if (forwards(segment.to.node, next)) queue.push(next);
    }
  }
  return { nodes, segments };
}
