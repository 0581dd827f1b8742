import { hostOfAgent, nodeOfAddress } from "../model/site-graph.ts";
import type { SiteGraph } from "../model/site-model.ts";
import { planPlace } from "./vlan-place.ts";

/**
 * @param source as a stream names it: its agent, a node without one, or an address
 * @returns the node that the stream comes from, or null where the plan does not have it
 */
export const nodeOfSource = (graph: SiteGraph, source: string): string | null =>
  hostOfAgent(graph, source) ??
  (graph.nodes.has(source) ? source : null) ??
  [...graph.nodes.keys()].find((node) => planPlace(node) === source) ??
  nodeOfAddress(graph, source);
