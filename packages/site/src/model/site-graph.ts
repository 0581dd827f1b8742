import { formatIpAddress, parseIpAddress } from "@dyetrace/wire";
import {
  type LinkSegment,
  type PortRef,
  type SiteGraph,
  type SiteLink,
  type SiteNode,
  type SiteVlan,
  segmentId,
} from "./site-model.ts";

/**
 * Builds the graph from what the plan says. The caller has checked that links name nodes that exist.
 * @param idOf what a direction of a link is called, unlike any other
 */
export function buildSiteGraph(
  name: string,
  nodes: readonly SiteNode[],
  links: readonly SiteLink[],
  vlans: ReadonlyMap<number, SiteVlan> | null = null,
  idOf: (from: PortRef, to: PortRef, link: SiteLink) => string = segmentId,
): SiteGraph {
  const segments = new Map<string, LinkSegment>();
  const outgoing = new Map<string, LinkSegment[]>(nodes.map((node) => [node.name, []]));
  const addSegment = (from: PortRef, to: PortRef, link: SiteLink): void => {
    const segment: LinkSegment = { id: idOf(from, to, link), from, to, link };
    segments.set(segment.id, segment);
    outgoing.get(from.node)?.push(segment);
  };
  for (const link of links) {
    addSegment(link.a, link.b, link);
    addSegment(link.b, link.a, link);
  }
  const byName = new Map(nodes.map((node) => [node.name, node]));
  return { name, nodes: byName, links, segments, outgoing, ...(vlans === null ? {} : { vlans }) };
}

/** @returns the host that carries the agent, or null if the plan has none of that name */
export function hostOfAgent(graph: SiteGraph, agent: string): string | null {
  let hosts = HOSTS.get(graph);
  if (hosts === undefined) {
    hosts = new Map(
      [...graph.nodes.values()].flatMap((node) => (node.agent === null ? [] : [[node.agent, node.name]])),
    );
    HOSTS.set(graph, hosts);
  }
  return hosts.get(agent) ?? null;
}

/** By agent, for each plan; one is asked for every listener of every stream. */
const HOSTS = new WeakMap<SiteGraph, ReadonlyMap<string, string>>();

/** @returns the node that the plan gives this address, or null */
export function nodeOfAddress(graph: SiteGraph, address: string): string | null {
  const asked = canonical(address);
  for (const { name, addresses = [] } of graph.nodes.values()) {
    if (addresses.some((one) => canonical(one) === asked)) return name;
  }
  return null;
}

function canonical(text: string): string {
  const address = parseIpAddress(text);
  return address === null ? text : formatIpAddress(address.bytes);
}

export const hasRadio = (graph: SiteGraph): boolean =>
  [...graph.nodes.values()].some(({ kind }) => kind === "access-point");

/** Names of all agents, in the order of the plan. */
export const agentNames = (graph: SiteGraph): string[] =>
  [...graph.nodes.values()].flatMap((node) => (node.agent === null ? [] : [node.agent]));
