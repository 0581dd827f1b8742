import { querierOf } from "@dyetrace/site";
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

/** Each domain once for each family that the streams are of, or of which a query came. */
export function heardDomains(site: SiteIndex, run: RunObservations): FamilyDomain[] {
  const ofStreams = new Set(run.streams.map(({ group }) => familyOf(group)));
  return queryDomains(site, run.queriers).flatMap((domain) =>
    ([4, 6] as const)
      .filter(
        (family) =>
          ofStreams.has(family) ||
          domain.queriers.some(({ queriers }) => queriers.some((one) => one.family === family)),
      )
      .map((family) => ({ ...domain, family })),
  );
}

/** A host that the plan has in a domain, and not one that only seems to sit there; null where it has none. */
export function plannedHost(site: SiteIndex, { vlan, queriers }: QueryDomain): string | null {
  if (vlan === null) return queriers[0]?.host ?? null;
  const hosts = [...site.graph.nodes.values()].filter(({ kind }) => kind === "host");
  return hosts.find(({ name }) => vlanOfHost(site, name) === vlan)?.name ?? null;
}

/** Who asks in a domain by the plan; null where it declares nobody. */
export function plannedQuerier(site: SiteIndex, run: RunObservations, domain: QueryDomain): string | null {
  const from = domain.vlan === null ? run.streams[0]?.source : plannedHost(site, domain);
  const querier = querierOf(site.graph, from ?? "");
  return querier === null || querier.isAssumed ? null : querier.node;
}

/** " in VLAN 20". */
export const inVlan = (vlan: number | null): string => (vlan === null ? "" : ` in VLAN ${vlan}`);
