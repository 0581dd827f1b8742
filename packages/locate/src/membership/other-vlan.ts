import { isInSubnet, parseSubnet, type SiteVlan } from "@dyetrace/site";
import { groupBy, parseIpAddress } from "@dyetrace/wire";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isLasting } from "./querier-timing.ts";

/** A host that hears the querier of another VLAN than the one that the plan has it in, and not its own VLAN's. */
export interface HostInOtherVlan {
  readonly host: string;
  readonly vlan: number;
  readonly seemsIn: number;
  readonly querier: QuerierHeard;
  /** Other hosts of that VLAN that hear this querier. */
  readonly alsoThere: readonly string[];
  /** Other hosts of the planned VLAN that hear another querier. */
  readonly notThere: readonly string[];
}

/** The VLAN that a host sits in by the plan; undefined where it does not say. */
export const vlanOfHost = ({ graph }: Pick<SiteIndex, "graph">, host: string): number | undefined =>
  graph.outgoing.get(host)?.[0]?.link.vlans?.[0];

const keyOf = ({ family, address }: QuerierHeard): string => `${family} ${address}`;

/**
 * Queries stay in their VLAN, so whose queries come to a host says which VLAN it sits in. A querier's VLAN is the one whose
 * subnet has its address, else the one in which the other hosts hear it. Two hosts alone, each in another VLAN, say nothing:
 * either may be the one that sits elsewhere.
 */
export function hostsInOtherVlans(site: SiteIndex, queriers: readonly QuerierObservation[]): HostInOtherVlan[] {
  const { vlans } = site.graph;
  if (vlans === undefined) return [];
  const heardAt = queriers
    .filter(({ canHear }) => canHear)
    .flatMap(({ host, queriers }) => {
      const vlan = vlanOfHost(site, host);
      const lasting = queriers.filter((one) => isLasting(one) && one.isOwn !== true);
      return vlan === undefined || lasting.length === 0 ? [] : [{ host, vlan, lasting }];
    });
  const hearersOf = hostsBy(heardAt, keyOf);
  const hostsOf = hostsBy(heardAt, ({ family }) => `${family}`);
  return heardAt.flatMap((own) => {
    const others = (hosts: readonly string[] = []): string[] => hosts.filter((host) => host !== own.host);
    const hears = (querier: QuerierHeard, vlan: number): string[] => others(hearersOf.get(`${vlan} ${keyOf(querier)}`));
    const notThere = (family: QuerierHeard["family"]): string[] => others(hostsOf.get(`${own.vlan} ${family}`));
    const homeOf = (querier: QuerierHeard): number | null => {
      const inSubnet = vlanOfAddress(vlans, querier.address);
      if (inSubnet !== null) return inSubnet;
      const elsewhere = [...vlans.keys()].filter((vlan) => vlan !== own.vlan && hears(querier, vlan).length > 0);
      const [only] = elsewhere;
      // One switch may ask in all its VLANs from the same link-local address: then that tells none of them.
      if (only !== undefined && hears(querier, own.vlan).length > 0) return null;
      if (only === undefined || elsewhere.length > 1 || hears(querier, own.vlan).length > 0) return own.vlan;
      return hears(querier, only).length > 1 || notThere(querier.family).length > 0 ? only : own.vlan;
    };
    const homes = own.lasting.flatMap((querier) => {
      const vlan = homeOf(querier);
      return vlan === null ? [] : [{ vlan, querier }];
    });
    const [seemsIn, ...rest] = new Set(homes.map((one) => one.vlan));
    const { querier } = homes[0] ?? {};
    if (seemsIn === undefined || querier === undefined || rest.length > 0 || seemsIn === own.vlan) return [];
    // Where the whole VLAN hears it, it is the querier that is in the wrong one.
    if (hears(querier, own.vlan).length > 0) return [];
    const { host, vlan } = own;
    return [{ host, vlan, seemsIn, querier, alsoThere: hears(querier, seemsIn), notThere: notThere(querier.family) }];
  });
}

/** Names of these hosts: what the plan says of their VLAN's querier, and of the way to it, does not concern them. */
export const hostsElsewhere = (site: SiteIndex, { queriers }: Pick<RunObservations, "queriers">): ReadonlySet<string> =>
  new Set(hostsInOtherVlans(site, queriers).map(({ host }) => host));

interface HeardAt {
  readonly host: string;
  readonly vlan: number;
  readonly lasting: readonly QuerierHeard[];
}

/** Hosts by their VLAN and by something of the queriers that they hear. */
function hostsBy(heardAt: readonly HeardAt[], keyOf: (querier: QuerierHeard) => string): Map<string, string[]> {
  const heard = heardAt.flatMap(({ host, vlan, lasting }) =>
    [...new Set(lasting.map(keyOf))].map((key) => ({ host, key: `${vlan} ${key}` })),
  );
  const byKey = groupBy(heard, ({ key }) => key);
  return new Map([...byKey].map(([key, ones]) => [key, ones.map(({ host }) => host)]));
}

function vlanOfAddress(vlans: ReadonlyMap<number, SiteVlan>, text: string): number | null {
  const address = parseIpAddress(text);
  if (address === null) return null;
  for (const { number, ipv4, ipv6 } of vlans.values()) {
    const planned = address.family === 4 ? ipv4 : ipv6;
    const subnet = planned === null ? null : parseSubnet(planned);
    if (subnet !== null && isInSubnet(subnet, address)) return number;
  }
  return null;
}
