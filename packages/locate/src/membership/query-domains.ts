import type { QuerierObservation } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";

/** What the hosts of one layer-2 domain heard: queries stay in their VLAN, so one says nothing about another. */
export interface QueryDomain {
  /** Null in a plan without VLANs: all hosts together. */
  readonly vlan: number | null;
  readonly queriers: readonly QuerierObservation[];
}

export function queryDomains({ graph }: SiteIndex, queriers: readonly QuerierObservation[]): QueryDomain[] {
  if (graph.vlans === undefined) return [{ vlan: null, queriers }];
  const vlanOf = (host: string): number | undefined => graph.outgoing.get(host)?.[0]?.link.vlans?.[0];
  return [...graph.vlans.keys()].map((vlan) => ({
    vlan,
    queriers: queriers.filter(({ host }) => vlanOf(host) === vlan),
  }));
}
