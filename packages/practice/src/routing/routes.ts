import { domainsOfLinks, routerChoices, type SiteGraph } from "@dyetrace/site";
import { formatIpAddress } from "@dyetrace/wire";
import type { PortAddress, SubnetPair } from "../layout/address-plan.ts";
import { type PracticeLayout, portOfLink } from "../layout/practice-layout.ts";
import type { PracticeTimers } from "../layout/practice-timers.ts";
import type { RouterConfig, RouterInterface } from "./router-config.ts";

/** A unicast route of a host or router. */
export interface UnicastRoute {
  readonly to: SubnetPair;
  readonly via: PortAddress;
}

/** Where the packets for each subnet go, and who brings whose packets into which: the plan's ways, the first of equal ones. */
export interface SiteRoutes {
  unicastOf(node: string): readonly UnicastRoute[];
  routerConfig(router: string, timers: PracticeTimers, families: readonly (4 | 6)[]): RouterConfig;
}

export function planRoutes(layout: PracticeLayout): SiteRoutes {
  const { site, addresses } = layout;
  const domains = domainsOfLinks(site);
  const members = membersOfDomains(site);
  /** For each subnet with somebody in it: how the routers bring that subnet's packets everywhere else. */
  const choices = [...members].flatMap(([domain, nodes]) => {
    const inside = nodes.find((name) => site.nodes.get(name)?.kind !== "router");
    const choice = inside === undefined ? undefined : routerChoices(site, inside)[0];
    const hosts = nodes.filter((name) => site.nodes.get(name)?.kind === "host");
    const link = inside === undefined ? undefined : site.outgoing.get(inside)?.[0]?.link;
    return choice === undefined || link === undefined
      ? []
      : [{ domain, choice, hosts, subnets: addresses.subnetsOf(link) }];
  });

  const portsOf = (node: string): { readonly domain: number; readonly address: PortAddress }[] =>
    [...(layout.nodes.get(node)?.ports.values() ?? [])].flatMap(({ link, address }) =>
      address === null ? [] : [{ domain: domains.get(link) ?? -1, address }],
    );
  const addressIn = (router: string, domain: number): PortAddress | null =>
    portsOf(router).find((port) => port.domain === domain)?.address ?? null;
  const hostAddresses = (host: string): string[] =>
    portsOf(host).flatMap(({ address: { ipv4, ipv6 } }) => [ipv4, ipv6]);

  const unicastOf = (node: string): UnicastRoute[] => {
    const own = portsOf(node);
    const isRouter = site.nodes.get(node)?.kind === "router";
    return choices.flatMap(({ domain, choice, subnets }) => {
      if (own.some((port) => port.domain === domain)) return [];
      const upstream = isRouter ? choice.upstream.get(node) : undefined;
      const by = isRouter ? upstream && domains.get(upstream.link) : own[0]?.domain;
      const next = by === undefined ? undefined : choice.forwarder.get(by);
      const via = next === undefined || by === undefined ? null : addressIn(next, by);
      return via === null ? [] : [{ to: subnets, via }];
    });
  };

  const routerConfig = (router: string, timers: PracticeTimers, families: readonly (4 | 6)[]): RouterConfig => ({
    families,
    hosts: choices.flatMap(({ hosts }) => hosts.flatMap(hostAddresses)),
    timers: {
      membershipMs: timers.membershipIntervalMs,
      lastMemberMs: timers.lastMemberIntervalMs * timers.lastMemberQueries,
    },
    interfaces: [...(layout.nodes.get(router)?.ports.values() ?? [])].flatMap((port): RouterInterface[] => {
      if (port.address === null) return [];
      const domain = domains.get(port.link) ?? -1;
      const neighbours = (members.get(domain) ?? []).filter(
        (name) => name !== router && site.nodes.get(name)?.kind === "router",
      );
      const brought = choices.filter(({ choice }) => choice.forwarder.get(domain) === router);
      return [
        {
          name: port.interfaceName,
          index: port.interfaceIndex,
          mac: port.mac,
          ipv4: port.address.ipv4,
          ipv6: families.includes(6) ? port.address.ipv6 : null,
          neighbours: neighbours.flatMap((name) => addressIn(name, domain)?.ipv4 ?? []),
          bringsFrom: brought.flatMap(({ hosts }) => hosts.flatMap(hostAddresses)),
        },
      ];
    }),
  });
  return { unicastOf, routerConfig };
}

/** Names of the nodes at the links of each domain. */
function membersOfDomains(site: SiteGraph): ReadonlyMap<number, readonly string[]> {
  const members = new Map<number, Set<string>>();
  for (const [link, domain] of domainsOfLinks(site)) {
    const names = members.get(domain) ?? new Set();
    members.set(domain, names.add(link.a.node).add(link.b.node));
  }
  return new Map([...members].map(([domain, names]) => [domain, [...names]]));
}

/** As `ip` writes it. */
export const subnetText = ({ base, prefixBits }: SubnetPair["ipv4"]): string =>
  `${formatIpAddress(base.bytes)}/${prefixBits}`;

/**
 * Ports that lead towards a router: a switch sends it every group (RFC 4541 section 2.1.1), by configuration here, since
 * the routers of a practice site neither query nor advertise themselves.
 * @returns bridge ports, as namespace and interface
 */
export function routerPorts(layout: PracticeLayout): { readonly namespace: string; readonly interfaceName: string }[] {
  const { site } = layout;
  const ports = new Map<string, { namespace: string; interfaceName: string }>();
  for (const { name, kind } of site.nodes.values()) {
    if (kind !== "router") continue;
    const reached = new Set([name]);
    for (const at of reached) {
      if (at !== name && site.nodes.get(at)?.kind === "router") continue;
      for (const { to, link } of site.outgoing.get(at) ?? []) {
        if (reached.has(to.node)) continue;
        reached.add(to.node);
        const node = layout.nodes.get(to.node);
        const port = node === undefined ? undefined : portOfLink(node, link);
        if (node === undefined || port === undefined || !["switch", "access-point"].includes(node.kind)) continue;
        const { interfaceName } = port;
        ports.set(`${node.namespace} ${interfaceName}`, { namespace: node.namespace, interfaceName });
      }
    }
  }
  return [...ports.values()];
}
