import { type FileMistakes, parseIpAddress } from "@dyetrace/wire";
import { domainsOfLinks } from "../model/layer2-domain.ts";
import type { LinkSegment, SiteGraph, SiteVlan } from "../model/site-model.ts";
import { isInSubnet, parseSubnet } from "../model/subnet.ts";
import { unfoldVlans } from "./unfold-vlans.ts";
import { planPlace } from "./vlan-place.ts";

/** Adds a mistake for every VLAN that is in two parts, and for addresses that fit no interface. */
export function checkVlans(graph: SiteGraph, mistakes: FileMistakes): void {
  for (const vlan of graph.vlans?.values() ?? []) checkVlanIsWhole(graph, vlan.number, mistakes);
  for (const node of graph.nodes.values()) {
    if (node.addresses !== undefined) checkAddresses(graph, node.name, node.addresses, mistakes);
  }
}

/** All hosts and routers of a VLAN must hear each other; else some trunk between them lacks it. */
function checkVlanIsWhole(graph: SiteGraph, vlan: number, mistakes: FileMistakes): void {
  const site = unfoldVlans(graph);
  const domains = domainsOfLinks(site);
  const isEnd = (node: string): boolean => ["host", "router"].includes(site.nodes.get(node)?.kind ?? "");
  const endOf = new Map<number, string>();
  for (const link of site.links) {
    const end = [link.a.node, link.b.node].find(isEnd);
    const domain = domains.get(link);
    if (link.vlans?.[0] === vlan && end !== undefined && domain !== undefined && !endOf.has(domain))
      endOf.set(domain, end);
  }
  const [first, ...others] = endOf.values();
  if (first === undefined) return;
  for (const other of others) {
    const cut = cableWay(graph, first, other, vlan).find(
      ({ link }) => link.isBlocked === true || !link.vlans?.includes(vlan),
    );
    if (cut === undefined) {
      const message = `VLAN ${vlan} is in two parts: no way leads from "${first}" to "${other}" but through a router`;
      mistakes.add(["vlans", String(vlan)], message, "Give the part behind the router a VLAN of its own", "key");
      continue;
    }
    mistakes.add(
      ["links", cut.link.index, ...(cut.link.vlans === undefined ? [] : ["vlan"])],
      `VLAN ${vlan} does not cross this link, and it is on the only way from "${first}" to "${other}"`,
      cut.link.isBlocked === true ? "Block another link instead" : `Add ${vlan} to its list of VLANs`,
    );
  }
}

/**
 * The cables between two hosts or routers of a VLAN that pass no router, whatever switches let cross them; blocked ones
 * only where there is no other way.
 */
function cableWay(graph: SiteGraph, from: string, to: string, vlan: number): LinkSegment[] {
  const isEnd = (node: string): boolean => ["router", "host"].includes(graph.nodes.get(node)?.kind ?? "");
  for (const mayUseBlocked of [false, true]) {
    const arrivedBy = new Map<string, LinkSegment | null>([[from, null]]);
    for (const [node] of arrivedBy) {
      if (node !== from && isEnd(node)) continue;
      for (const segment of graph.outgoing.get(node) ?? []) {
        // A router's other interfaces are no part of this VLAN.
        if ((isEnd(node) || isEnd(segment.to.node)) && !segment.link.vlans?.includes(vlan)) continue;
        if (!arrivedBy.has(segment.to.node) && (mayUseBlocked || segment.link.isBlocked !== true))
          arrivedBy.set(segment.to.node, segment);
      }
    }
    const way: LinkSegment[] = [];
    for (let into = arrivedBy.get(to); into != null; into = arrivedBy.get(into.from.node)) way.unshift(into);
    if (way.length > 0) return way;
  }
  return [];
}

function checkAddresses(graph: SiteGraph, name: string, addresses: readonly string[], mistakes: FileMistakes): void {
  const linked = new Set((graph.outgoing.get(name) ?? []).flatMap(({ link }) => link.vlans ?? []));
  const addressed = new Set<SiteVlan>();
  for (const [index, text] of addresses.entries()) {
    const path = ["nodes", name, "addresses", index];
    const address = parseIpAddress(text);
    if (address === null) {
      mistakes.add(path, `"${text}" is not an address`, "Write one such as 192.0.2.1");
      continue;
    }
    // Without VLANs switches that query and hosts have their addresses in subnets of which the plan says nothing.
    const kind = graph.nodes.get(name)?.kind;
    if (graph.vlans === undefined && (kind === "switch" || kind === "host")) continue;
    const holds = (subnet: string | null): boolean => {
      const parsed = subnet === null ? null : parseSubnet(subnet);
      return parsed !== null && isInSubnet(parsed, address);
    };
    const vlan = [...(graph.vlans?.values() ?? [])].find(({ ipv4, ipv6 }) => holds(address.family === 4 ? ipv4 : ipv6));
    if (vlan === undefined) {
      mistakes.add(path, `${text} lies in the subnet of no VLAN`, "Give the VLAN its subnet, or correct the address");
    } else if (!linked.has(vlan.number)) {
      const message = `"${name}" has the address ${text} in VLAN ${vlan.number}, and no link that carries it`;
      mistakes.add(path, message, "Add the link, or remove the address");
    } else addressed.add(vlan);
  }
  if (graph.nodes.get(name)?.kind !== "router") return;
  for (const { link } of graph.outgoing.get(name) ?? []) {
    for (const number of link.vlans ?? []) {
      const vlan = graph.vlans?.get(number);
      if (vlan === undefined || addressed.has(vlan)) continue;
      const message = `The router "${name}" is drawn in VLAN ${number} and has no interface there: none of its addresses is of that subnet`;
      mistakes.add(["links", link.index], message, `Add an address of VLAN ${number} to "${name}", or remove the link`);
    }
  }
}

/** Two of the plan's nodes that would query in one VLAN. The VLAN's own entry and the nodes' `querier: true` both count. */
export function checkQueriers(graph: SiteGraph, declared: ReadonlySet<string>, mistakes: FileMistakes): void {
  const site = unfoldVlans(graph);
  const carries = (name: string, vlan: number): boolean =>
    [...site.nodes.keys()].some(
      (node) =>
        planPlace(node) === name && (site.outgoing.get(node) ?? []).some(({ link }) => link.vlans?.includes(vlan)),
    );
  for (const { number, querier } of graph.vlans?.values() ?? []) {
    const queriers = [...declared].filter((name) => carries(name, number));
    if (querier !== null && !carries(querier, number)) {
      const message = `"${querier}" is to query in VLAN ${number}, and no link brings that VLAN to it`;
      mistakes.add(["vlans", String(number), "querier"], message, "Name a node that carries the VLAN");
    }
    const [first, second] = querier === null ? queriers : [querier, ...queriers.filter((name) => name !== querier)];
    if (first === undefined || second === undefined) continue;
    const message = `VLAN ${number} would have two queriers: "${first}" is one already, and so is "${second}"`;
    mistakes.add(["nodes", second, "querier"], message, "Keep the one that the site really elects", "key");
  }
}
