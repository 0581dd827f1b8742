import {
  type LinkSegment,
  type PortRef,
  type SiteGraph,
  type SiteLink,
  type SiteNode,
  segmentId,
} from "./site-model.ts";

/** Builds the graph from what the plan says. The caller has checked that links name nodes that exist. */
export function buildSiteGraph(name: string, nodes: readonly SiteNode[], links: readonly SiteLink[]): SiteGraph {
  const segments = new Map<string, LinkSegment>();
  const outgoing = new Map<string, LinkSegment[]>(nodes.map((node) => [node.name, []]));
  const addSegment = (from: PortRef, to: PortRef, link: SiteLink): void => {
    const segment: LinkSegment = { id: segmentId(from, to), from, to, link };
    segments.set(segment.id, segment);
    outgoing.get(from.node)?.push(segment);
  };
  for (const link of links) {
    addSegment(link.a, link.b, link);
    addSegment(link.b, link.a, link);
  }
  return { name, nodes: new Map(nodes.map((node) => [node.name, node])), links, segments, outgoing };
}

/** @returns the host that carries the agent, or null if the plan has none of that name */
export function hostOfAgent(graph: SiteGraph, agent: string): string | null {
  for (const node of graph.nodes.values()) if (node.agent === agent) return node.name;
  return null;
}

/** Names of all agents, in the order of the plan. */
export const agentNames = (graph: SiteGraph): string[] =>
  [...graph.nodes.values()].flatMap((node) => (node.agent === null ? [] : [node.agent]));
