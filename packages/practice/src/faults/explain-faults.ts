import type { SiteGraph, SiteNode } from "@dyetrace/site";
import type { PracticeFaultName } from "@dyetrace/wire";
import { isForwarding, isSnooping } from "../layout/node-kinds.ts";
import { FAULT_WORDS, type FaultPlace, type FaultWords } from "./fault-words.ts";

/** A kind of fault as one site can have it. */
export interface FaultExplanation extends Omit<FaultWords, "on"> {
  readonly fault: PracticeFaultName;
  /** Where it may be put, as the plan names it. */
  readonly places: readonly string[];
}

/** The kinds of faults that a site has a place for. @param queriers nodes that query */
export const explainFaults = (graph: SiteGraph, queriers: readonly string[]): readonly FaultExplanation[] =>
  (Object.keys(FAULT_WORDS) as PracticeFaultName[]).flatMap((fault) => {
    const { on, ...words } = FAULT_WORDS[fault];
    const places = [...new Set(on.flatMap((place) => placesOf(place, graph, queriers)))];
    return places.length === 0 ? [] : [{ fault, ...words, places }];
  });

function placesOf(place: FaultPlace, graph: SiteGraph, queriers: readonly string[]): readonly string[] {
  const kindOf = (name: string): SiteNode["kind"] | undefined => graph.nodes.get(name)?.kind;
  const nodes = (fits: (kind: SiteNode["kind"]) => boolean): readonly string[] =>
    [...graph.nodes.values()].filter(({ kind }) => fits(kind)).map(({ name }) => name);
  const ports = (fits: (kind: SiteNode["kind"]) => boolean): readonly string[] =>
    graph.links
      .flatMap(({ a, b }) => [a, b])
      .filter(({ node }) => fits(kindOf(node) ?? "host"))
      .map(({ node, port }) => `${node}:${port}`);
  switch (place) {
    case "segment":
      return [...graph.segments.keys()];
    case "vlan-segment":
      return [...graph.segments.values()].filter(({ link }) => (link.vlans ?? []).length > 1).map(({ id }) => id);
    case "router-segment":
      return [...graph.segments.values()]
        .filter(({ from, to }) => kindOf(from.node) === "router" || kindOf(to.node) === "router")
        .map(({ id }) => id);
    case "network-node":
      return nodes((kind) => kind !== "host");
    case "forwarder":
      return nodes(isForwarding);
    case "snooper":
      return nodes(isSnooping);
    case "querier":
      return queriers;
    case "switch-port":
      return ports(isForwarding);
    case "network-port":
      return ports((kind) => kind !== "host");
    case "host":
      return nodes((kind) => kind === "host");
    case "host-or-router":
      return nodes((kind) => kind === "host" || kind === "router");
    case "router":
      return nodes((kind) => kind === "router");
  }
}
