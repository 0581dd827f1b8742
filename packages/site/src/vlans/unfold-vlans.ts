import { buildSiteGraph } from "../model/site-graph.ts";
import { type SiteGraph, type SiteLink, type SiteNode, segmentId } from "../model/site-model.ts";
import { placeInVlan, planPlace } from "./vlan-place.ts";

/** One plan is asked many times. */
const UNFOLDED = new WeakMap<SiteGraph, SiteGraph>();

/**
 * The site as frames see it: a switch that carries several VLANs stands there once for each, a trunk likewise, and links
 * that spanning tree blocks are left out. What is left of each VLAN is a tree, and routers join the trees. Places in one
 * VLAN are named by `placeInVlan`; hosts, routers and what only one VLAN touches keep their names.
 * @returns the plan's own graph where it has neither VLANs nor blocked links
 */
export function unfoldVlans(graph: SiteGraph): SiteGraph {
  const known = UNFOLDED.get(graph);
  if (known !== undefined) return known;
  const isPlain = graph.links.every((link) => link.vlans === undefined && link.isBlocked !== true);
  const unfolded = isPlain ? graph : unfold(graph);
  UNFOLDED.set(graph, unfolded);
  UNFOLDED.set(unfolded, unfolded);
  return unfolded;
}

function unfold(graph: SiteGraph): SiteGraph {
  const vlansAt = new Map<string, Set<number>>();
  for (const { a, b, vlans = [] } of graph.links) {
    for (const { node } of [a, b]) {
      const known = vlansAt.get(node) ?? new Set();
      for (const vlan of vlans) known.add(vlan);
      vlansAt.set(node, known);
    }
  }
  const isSplit = ({ name, kind }: SiteNode): boolean =>
    kind !== "host" && kind !== "router" && (vlansAt.get(name)?.size ?? 0) > 1;
  const nameIn = (name: string, vlan: number): string => {
    const node = graph.nodes.get(name);
    return node !== undefined && isSplit(node) ? placeInVlan(name, vlan) : name;
  };
  const isQuerierIn = (node: SiteNode, vlan: number): boolean =>
    graph.vlans === undefined ? node.isQuerier : graph.vlans.get(vlan)?.querier === node.name;
  const nodes = [...graph.nodes.values()].flatMap((node): readonly SiteNode[] => {
    if (!isSplit(node)) return [node];
    const vlans = [...(vlansAt.get(node.name) ?? [])].sort((a, b) => a - b);
    return vlans.map((vlan) => ({ ...node, name: nameIn(node.name, vlan), isQuerier: isQuerierIn(node, vlan) }));
  });
  const trunks = new Set<string>();
  const links: SiteLink[] = [];
  for (const link of graph.links) {
    if (link.isBlocked === true) continue;
    if (link.vlans === undefined) links.push({ ...link, index: links.length });
    for (const vlan of link.vlans ?? []) {
      const [a, b] = [link.a, link.b].map((end) => ({ ...end, node: nameIn(end.node, vlan) }));
      if (a !== undefined && b !== undefined) links.push({ ...link, index: links.length, a, b, vlans: [vlan] });
    }
    if ((link.vlans?.length ?? 0) > 1) trunks.add(segmentId(link.a, link.b)).add(segmentId(link.b, link.a));
  }
  return buildSiteGraph(graph.name, nodes, links, graph.vlans ?? null, (from, to, link) => {
    const id = segmentId({ ...from, node: planPlace(from.node) }, { ...to, node: planPlace(to.node) });
    const [vlan] = link.vlans ?? [];
    return vlan !== undefined && trunks.has(id) ? placeInVlan(id, vlan) : id;
  });
}

/** The names under which a place of the plan stands in the unfolded site; empty if there is none. */
export function unfoldedNames(unfolded: SiteGraph, place: string): string[] {
  if (unfolded.nodes.has(place) || unfolded.segments.has(place)) return [place];
  const names = place.includes(">") ? unfolded.segments.keys() : unfolded.nodes.keys();
  return [...names].filter((name) => planPlace(name) === place);
}
