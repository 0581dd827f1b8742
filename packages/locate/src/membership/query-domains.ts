import { type AddressFamily, familyOf } from "../run/address-family.ts";
import type { QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";

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

export function queryDomains({ graph }: SiteIndex, queriers: readonly QuerierObservation[]): QueryDomain[] {
  if (graph.vlans === undefined) return [{ vlan: null, queriers }];
  return [...graph.vlans.keys()].map((vlan) => ({
    vlan,
    queriers: queriers.filter(({ host }) => vlanOfHost({ graph }, host) === vlan),
  }));
}

/** The VLAN that a host sits in by the plan; undefined where it does not say. */
export const vlanOfHost = ({ graph }: Pick<SiteIndex, "graph">, host: string): number | undefined =>
  graph.outgoing.get(host)?.[0]?.link.vlans?.[0];

/** Each domain once for each family that the run's streams are of. */
export function familyDomains(site: SiteIndex, run: RunObservations): FamilyDomain[] {
  const families = [...new Set(run.streams.map(({ group }) => familyOf(group)))];
  return queryDomains(site, run.queriers).flatMap((domain) => families.map((family) => ({ ...domain, family })));
}

/** " in VLAN 20". */
export const inVlan = (vlan: number | null): string => (vlan === null ? "" : ` in VLAN ${vlan}`);
