import type { LinkSegment, SiteGraph, SitePath } from "../model/site-model.ts";
import { unfoldedNames, unfoldVlans } from "../vlans/unfold-vlans.ts";
import { planPlace } from "../vlans/vlan-place.ts";
import { type SourceWays, sourceWays } from "./source-ways.ts";

/**
 * The way from one node to another, by VLANs and routers; of several that cost the same the first (`pathsBetween` has
 * all). A trunk that the way crosses in two VLANs stands there twice.
 * @returns null if a node is unknown or no way leads there; a path of one node and no segment if both are the same
 */
export const pathBetween = (graph: SiteGraph, from: string, to: string): SitePath | null =>
  pathsBetween(graph, from, to)[0] ?? null;

/** All ways from one node to another that the routers may equally choose; empty if there is none. */
export function pathsBetween(graph: SiteGraph, from: string, to: string): SitePath[] {
  if (!graph.nodes.has(from) || !graph.nodes.has(to)) return [];
  if (from === to) return [{ nodes: [from], segments: [] }];
  const unfolded = unfoldVlans(graph);
  const ends = unfoldedNames(unfolded, to);
  for (const start of unfoldedNames(unfolded, from)) {
    const paths = new Map<string, SitePath>();
    for (const ways of sourceWays(unfolded, start, { isDesignatedLeftOut: true })) {
      const end = ends.find((name) => ways.has(name));
      if (end === undefined) continue;
      const path = inPlan(graph, from, segmentsDownTo(ways, end));
      paths.set(path.segments.map((segment) => segment.id).join(), path);
    }
    if (paths.size > 0) return [...paths.values()];
  }
  return [];
}

/** Segments from the source down to a node that the ways lead to. */
export function segmentsDownTo(ways: SourceWays, node: string): LinkSegment[] {
  const segments: LinkSegment[] = [];
  for (let into = ways.get(node); into !== undefined; into = ways.get(into.from.node)) segments.unshift(into);
  return segments;
}

function inPlan(graph: SiteGraph, from: string, way: readonly LinkSegment[]): SitePath {
  const segments = way.map((segment) => graph.segments.get(planPlace(segment.id)) ?? segment);
  return { nodes: [from, ...segments.map((segment) => segment.to.node)], segments };
}

/** Routers between the two ends of a path: what a packet's TTL is less by on the way. */
export const routerHops = (graph: SiteGraph, { nodes }: SitePath): number =>
  nodes.slice(1, -1).filter((node) => graph.nodes.get(node)?.kind === "router").length;
