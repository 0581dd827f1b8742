import { type AddressFamily, familyOf } from "../run/address-family.ts";
import type { QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { hostsInOtherVlans, vlanOfHost } from "./other-vlan.ts";

/** What the hosts of one layer-2 domain heard: queries stay in their VLAN, so one says nothing about another. */
export interface QueryDomain {
  /** Null in a plan without VLANs: all hosts together. */
  readonly vlan: number | null;
  readonly queriers: readonly QuerierObservation[];
}

/** The same, as far as one family goes: IGMP's querier does not ask for MLD's memberships. */
export interface FamilyDomain extends QueryDomain {
  readonly family: AddressFamily;
}

/** A host that seems to sit in another VLAN than planned counts there. */
export function queryDomains(site: SiteIndex, queriers: readonly QuerierObservation[]): QueryDomain[] {
  const { vlans } = site.graph;
  if (vlans === undefined) return [{ vlan: null, queriers }];
  const seemsIn = new Map(hostsInOtherVlans(site, queriers).map((one) => [one.host, one.seemsIn]));
  return [...vlans.keys()].map((vlan) => ({
    vlan,
    queriers: queriers.filter(({ host }) => (seemsIn.get(host) ?? vlanOfHost(site, host)) === vlan),
  }));
}

/** Each domain once for each family that the run's streams are of. */
export function familyDomains(site: SiteIndex, run: RunObservations): FamilyDomain[] {
  const families = [...new Set(run.streams.map(({ group }) => familyOf(group)))];
  return queryDomains(site, run.queriers).flatMap((domain) => families.map((family) => ({ ...domain, family })));
}

/** " in VLAN 20". */
export const inVlan = (vlan: number | null): string => (vlan === null ? "" : ` in VLAN ${vlan}`);
