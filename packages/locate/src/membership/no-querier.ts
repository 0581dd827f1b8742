import { querierOf } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { nameList, seconds } from "../finding/wording.ts";
import type { QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { type QueryDomain, queryDomains } from "./query-domains.ts";

interface DomainCase extends QueryDomain {
  readonly site: SiteIndex;
  readonly run: RunObservations;
}

interface NobodyAsks extends DomainCase {
  /** Hosts that listened for longer than an absent querier may stay unnoticed. */
  readonly watching: readonly QuerierObservation[];
  readonly presentMs: number;
  /** Where the plan has the querier; null where it does not say. */
  readonly planned: string | null;
}

const row = rowsOf<DomainCase>({ streams: () => [], suspects: () => [] });

const NO_QUERIER = row({
  kind: "no-querier",
  match: nobodyAsks,
  title: ({ vlan, watching, presentMs }) =>
    `No querier${vlan === null ? "" : ` in VLAN ${vlan}`}: ${nameList(watching.map((one) => one.host))} heard no general query for ${seconds(presentMs)} and more`,
  evidence: ({ watching }) =>
    watching
      .slice(0, 5)
      .map((one) => `${one.host} listened for ${seconds(one.watchedToMs - one.watchedFromMs)} and heard none.`),
  suspects: ({ planned }) => (planned === null ? [] : [planned]),
  advice:
    "Give one switch or router in this VLAN the part of the querier, with an address, and a second one as standby. Without one, memberships run out or the switches flood.",
  reference: "RFC 4541, section 2.1.1; RFC 3376, section 8.5",
});

/** VLANs in which nobody asks for memberships. */
export function findNoQuerier(site: SiteIndex, run: RunObservations): Finding[] {
  const domains = queryDomains(site, run.queriers);
  return findingsOf(
    [NO_QUERIER],
    domains.map((domain) => ({ ...domain, site, run })),
  );
}

function nobodyAsks(domain: DomainCase): NobodyAsks | null {
  const { site, run, vlan, queriers } = domain;
  const { queryIntervalMs, queryResponseMs, robustness } = run.timers;
  // An absent querier may stay unnoticed for this long (RFC 3376, section 8.5: other querier present interval).
  const presentMs = robustness * queryIntervalMs + queryResponseMs / 2;
  const watching = queriers.filter((one) => one.canHear && one.watchedToMs - one.watchedFromMs > presentMs);
  const [first] = watching;
  if (first === undefined || queriers.some((one) => one.queriers.length > 0)) return null;
  const querier = querierOf(site.graph, vlan === null ? (run.streams[0]?.source ?? "") : first.host);
  const planned = querier === null || querier.isAssumed ? null : querier.node;
  return { ...domain, watching, presentMs, planned };
}
