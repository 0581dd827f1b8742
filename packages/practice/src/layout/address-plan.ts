import {
  addressInSubnet,
  domainsOfLinks,
  isInSubnet,
  type LinkSegment,
  parseSubnet,
  type SiteGraph,
  type SiteLink,
  type Subnet,
} from "@dyetrace/site";
import { Fault, formatIpAddress, parseIpAddress } from "@dyetrace/wire";
import { QUERIER_ADDRESS } from "./fixed-addresses.ts";

/** The address on the tested network, in both families, and a host's on the management network. */
export interface PortAddress {
  readonly ipv4: string;
  readonly ipv6: string;
  /** Null for a router. */
  readonly management: string | null;
}

export interface AddressPlan {
  /** Of the interface from which the segment leaves; null for nodes that forward frames. */
  ofEnd(segment: LinkSegment): PortAddress | null;
  ofQuerier(node: string): { readonly address: string; readonly prefixBits: number };
  /** Those that a link belongs to. */
  subnetsOf(link: SiteLink): SubnetPair;
}

export interface SubnetPair {
  readonly ipv4: Subnet;
  readonly ipv6: Subnet;
}

/**
 * One subnet for the whole site where it has no router: hosts' last two numbers are then the same in both families and on
 * the management network. Else a subnet for each layer-2 domain: the plan's where it says one.
 * @param site unfolded
 * @throws {Fault} SITE_PLAN_INVALID if a subnet of the plan has too few addresses
 */
export function planAddresses(site: SiteGraph, queriers: readonly string[]): AddressPlan {
  const domains = domainsOfLinks(site);
  const isRouted = site.vlans !== undefined || [...site.nodes.values()].some(({ kind }) => kind === "router");
  const subnets = new Map<number, SubnetPair>();
  for (const link of site.links) {
    const domain = domains.get(link) ?? -1;
    if (!subnets.has(domain))
      subnets.set(domain, isRouted ? subnetsOfDomain(site, domain, link.vlans?.[0]) : ONE_SUBNET);
  }
  const pairOf = (link: SiteLink | undefined): SubnetPair =>
    subnets.get((link && domains.get(link)) ?? -1) ?? ONE_SUBNET;

  const ends = new Map<string, PortAddress>();
  const querierAddress = new Map<string, string>();
  if (isRouted) {
    const given = new Set([...site.nodes.values()].flatMap(({ addresses = [] }) => addresses.map(canonical)));
    const free = (subnet: Subnet): string => firstFree(subnet, given);
    // Queriers first: the lowest address wins the election.
    for (const node of queriers) {
      const { ipv4 } = pairOf(site.outgoing.get(node)?.[0]?.link);
      querierAddress.set(node, plannedIn(site, node, ipv4) ?? free(ipv4));
    }
    let number = 0;
    for (const node of [...site.nodes.values()].filter(({ kind }) => kind === "router" || kind === "host")) {
      for (const segment of site.outgoing.get(node.name) ?? []) {
        const { ipv4, ipv6 } = pairOf(segment.link);
        const own = (subnet: Subnet): string =>
          node.addresses?.map(canonical).find((text) => isIn(subnet, text)) ?? free(subnet);
        const management = node.kind === "host" ? managementAddress(number++) : null;
        ends.set(segment.id, { ipv4: own(ipv4), ipv6: own(ipv6), management });
      }
    }
  } else {
    const hosts = [...site.nodes.values()].filter(({ kind }) => kind === "host");
    for (const [number, { name }] of hosts.entries()) {
      for (const segment of site.outgoing.get(name) ?? []) ends.set(segment.id, hostAddress(number));
    }
  }
  return {
    ofEnd: (segment) => ends.get(segment.id) ?? null,
    ofQuerier: (node) => ({
      address: querierAddress.get(node) ?? plannedIn(site, node, ONE_SUBNET.ipv4) ?? QUERIER_ADDRESS.ipv4,
      prefixBits: pairOf(site.outgoing.get(node)?.[0]?.link).ipv4.prefixBits,
    }),
    subnetsOf: pairOf,
  };
}

const subnet = (text: string): Subnet => {
  const parsed = parseSubnet(text);
  if (parsed === null) throw new Error(`${text} is no subnet`);
  return parsed;
};

const ONE_SUBNET: SubnetPair = { ipv4: subnet("10.77.0.0/16"), ipv6: subnet("fd77::/64") };

/** Away from the management network, 10.254/16, and from the one subnet of a site without routers. */
function subnetsOfDomain(site: SiteGraph, domain: number, vlan: number | undefined): SubnetPair {
  const number = vlan ?? domain + 1;
  const planned = vlan === undefined ? undefined : site.vlans?.get(vlan);
  return {
    ipv4: subnet(planned?.ipv4 ?? `10.${128 + (number >> 8)}.${number & 255}.0/24`),
    ipv6: subnet(planned?.ipv6 ?? `fd77:0:0:${number.toString(16)}::/64`),
  };
}

/** Where the agents of hosts are numbered from 0. */
function hostAddress(number: number): PortAddress {
  const [third, fourth] = numbersOf(number);
  return {
    ipv4: `10.77.${third}.${fourth}`,
    ipv6: `fd77::${third.toString(16)}:${fourth.toString(16)}`,
    management: managementAddress(number),
  };
}

const managementAddress = (number: number): string => `10.254.${numbersOf(number).join(".")}`;
const numbersOf = (number: number): [number, number] => [2 + Math.floor(number / 250), 1 + (number % 250)];

function firstFree(subnet: Subnet, taken: Set<string>): string {
  for (let number = 1; ; number++) {
    const address = addressInSubnet(subnet, number);
    if (address === null) {
      const name = `${formatIpAddress(subnet.base.bytes)}/${subnet.prefixBits}`;
      throw new Fault(
        "SITE_PLAN_INVALID",
        `The subnet ${name} has too few addresses for the plan's nodes`,
        "Make it larger",
      );
    }
    if (taken.has(address)) continue;
    taken.add(address);
    return address;
  }
}

/** What the plan gives a node in a subnet. */
const plannedIn = (site: SiteGraph, node: string, subnet: Subnet): string | undefined =>
  site.nodes
    .get(node)
    ?.addresses?.map(canonical)
    .find((text) => isIn(subnet, text));

const isIn = (subnet: Subnet, text: string): boolean => {
  const address = parseIpAddress(text);
  return address !== null && isInSubnet(subnet, address);
};

const canonical = (text: string): string => formatIpAddress(parseIpAddress(text)?.bytes ?? new Uint8Array(4));
