import type { Finding } from "../finding/finding.ts";
import { type FindingRule, findingsOf, having, rowsOf } from "../finding/finding-row.ts";
import { nameList, verb } from "../finding/wording.ts";
import type { QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { type QuerierIslands, querierIslands } from "./querier-islands.ts";
import { isLasting } from "./querier-timing.ts";
import { type FamilyDomain, queryDomains } from "./query-domains.ts";

/** Two addresses that go on asking at the same time: an election would have left one. */
interface TwoQueriers {
  readonly addresses: readonly string[];
  /** Hosts that heard both. */
  readonly hosts: readonly string[];
  /** Set where no host heard both: who hears which. */
  readonly islands: QuerierIslands | null;
}

/** Hosts that hear one each may as well have missed the other's queries. Our estimate, no source. */
const ISLANDS_CONFIDENCE = 0.85;

const row = rowsOf<TwoQueriers>({ streams: () => [], suspects: () => [] });

const SAID_OF_BOTH = {
  kind: "two-queriers",
  title: ({ addresses }: TwoQueriers) =>
    `Two queriers at once: ${nameList(addresses)} both ask, so queries of one do not reach the other`,
  advice:
    "Find out which of the two belongs there. Then see what keeps their queries apart: a filter on the way, or different VLANs that hear each other only in part.",
  reference: "RFC 3376, section 6.6.2",
} as const;

const ROWS: readonly FindingRule<TwoQueriers>[] = [
  row({
    ...SAID_OF_BOTH,
    match: (one) => having(one, "islands"),
    suspects: ({ islands }) => islands.suspects,
    evidence: ({ islands }) =>
      islands.sides.map(
        ({ hosts, address }) => `${nameList(hosts)} ${verb(hosts, "hear")} only ${address} again and again.`,
      ),
    confidence: () => ISLANDS_CONFIDENCE,
  }),
  row({
    ...SAID_OF_BOTH,
    match: (one) => one,
    evidence: ({ hosts, addresses }) => [
      `${nameList(hosts)} heard queries from ${nameList(addresses)} at the same time; the one with the lower address should be alone.`,
    ],
  }),
];

/** Hosts that hear both are proof; only without any such is it asked whether one link parts those that hear one each. */
export function findTwoQueriers(site: SiteIndex, run: RunObservations): Finding[] {
  const pairs = run.queriers.filter((one) => one.canHear).flatMap(rivalsAt);
  if (pairs.length > 0) {
    const byAddresses = new Map<string, TwoQueriers & { readonly hosts: string[] }>();
    for (const { addresses, host } of pairs) {
      const key = addresses.toSorted().join(" ");
      const same = byAddresses.get(key);
      if (same === undefined) byAddresses.set(key, { addresses, hosts: [host], islands: null });
      else same.hosts.push(host);
    }
    return findingsOf(ROWS, [...byAddresses.values()]);
  }
  const islands = queryDomains(site, run.queriers).flatMap(({ queriers }) =>
    ([4, 6] as const).flatMap((family) => querierIslands(site, queriers, family) ?? []),
  );
  return findingsOf(
    ROWS,
    islands.map((one) => ({ addresses: one.sides.map(({ address }) => address), hosts: [], islands: one })),
  );
}

/** Whether a host of a domain hears two at once. */
export const areSeveralAtOnce = ({ family, queriers }: FamilyDomain): boolean =>
  queriers.some(
    (one) => one.canHear && rivalsAt({ ...one, queriers: one.queriers.filter((q) => q.family === family) }).length > 0,
  );

interface QuerierPair {
  readonly host: string;
  readonly addresses: readonly [string, string];
}

function rivalsAt({ host, queriers }: QuerierObservation): QuerierPair[] {
  const lasting = queriers.filter(isLasting);
  for (const [i, a] of lasting.entries()) {
    for (const b of lasting.slice(i + 1)) {
      const overlapMs = Math.min(a.lastMs, b.lastMs) - Math.max(a.firstMs, b.firstMs);
      const intervalMs = Math.min((a.lastMs - a.firstMs) / (a.queries - 1), (b.lastMs - b.firstMs) / (b.queries - 1));
      if (a.family === b.family && a.address !== b.address && overlapMs > intervalMs) {
        return [{ host, addresses: [a.address, b.address] }];
      }
    }
  }
  return [];
}
