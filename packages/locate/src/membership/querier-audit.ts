import { greatestOf, groupBy, leastOf } from "@dyetrace/wire";
import type { AddressFamily } from "../run/address-family.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isUnasked } from "./no-querier.ts";
import { type Election, electionsIn } from "./querier-elections.ts";
import { hasAddress, isOfRun, membershipMs, ownTimers, timersOf } from "./querier-timing.ts";
import { type FamilyDomain, heardDomains, plannedQuerier } from "./query-domains.ts";
import { areSeveralAtOnce } from "./two-queriers.ts";
import { plannedRouter, wrongAddresses } from "./wrong-querier.ts";

/**
 * How it stands with the querier. `as-planned`: the planned one asks, by its address; `one`: one asks, and the plan has no
 * address to compare; `unaddressed`: only from 0.0.0.0 or ::, which wins no election; `unknown`: none was heard, and the watch
 * was shorter than a querier may be silent.
 */
export type QuerierState = "as-planned" | "one" | "another" | "several" | "unaddressed" | "none" | "unknown";

/** Who asks in one VLAN for one family's memberships, held against the plan. Times in ms of the run. */
export interface QuerierAudit {
  /** Null in a plan without VLANs. */
  readonly vlan: number | null;
  readonly family: AddressFamily;
  readonly state: QuerierState;
  /** Null where the plan declares none; its address null where the plan does not tell it. */
  readonly planned: { readonly node: string; readonly address: string | null } | null;
  /** Lowest address first. */
  readonly heard: readonly AuditedQuerier[];
  readonly elections: readonly Election[];
}

export interface AuditedQuerier {
  readonly address: string;
  readonly mac: string | null;
  readonly version: number;
  readonly intervalMs: number | null;
  readonly maxResponseMs: number | null;
  readonly robustness: number | null;
  /** How long a membership lasts by its figures, and by the standard's where it tells none (RFC 3376, section 8.4). */
  readonly membershipMs: number;
  /** The most that one host heard. */
  readonly queries: number;
  readonly firstMs: number;
  readonly lastMs: number;
  /** From its last query to the end of the watch, at the host that heard it last. */
  readonly silentMs: number;
  /** Hosts that its queries came to. */
  readonly heardBy: readonly string[];
  /** Hosts of the same VLAN that watched, and to which none came: queries stop on the way there. */
  readonly unheardBy: readonly string[];
  /** The host that they went out of; null where none with an agent is it. */
  readonly sender: string | null;
  /** Null where the plan does not tell. */
  readonly isPlanned: boolean | null;
}

/** One entry for each VLAN and family of which streams are or queries came. What was heard before the run's window does not count. */
export const auditQueriers = (site: SiteIndex, run: RunObservations): QuerierAudit[] =>
  heardDomains(site, run).map((domain) => auditOf(site, run, domain));

function auditOf(site: SiteIndex, run: RunObservations, domain: FamilyDomain): QuerierAudit {
  const watching = domain.queriers
    .filter(({ canHear }) => canHear)
    .map((one) => ({ ...one, queriers: one.queriers.filter((q) => q.family === domain.family && isOfRun(q)) }));
  const node = plannedQuerier(site, run, domain);
  const planned = node === null ? null : { node, address: plannedRouter(site, domain, run)?.address ?? null };
  const wrong = wrongAddresses(site, run, domain);
  const isPlanned = (address: string): boolean | null => {
    if (wrong.has(address)) return false;
    if (planned === null || planned.address === null) return null;
    return address === planned.address;
  };
  const all = groupBy(
    watching.flatMap((at) => at.queriers.map((querier) => ({ at, querier }))),
    ({ querier: { address, version } }) => `${address} ${version}`,
  );
  const heard = [...all.values()]
    .map((list) => audited(run, domain, watching, list, isPlanned))
    .sort((a, b) => a.firstMs - b.firstMs);
  const { vlan, family } = domain;
  return {
    vlan,
    family,
    state: stateOf(site, run, domain, heard),
    planned,
    heard,
    elections: electionsIn(watching),
  };
}

interface HeardAt {
  readonly at: QuerierObservation;
  readonly querier: QuerierHeard;
}

function audited(
  run: RunObservations,
  { family }: FamilyDomain,
  watching: readonly QuerierObservation[],
  list: readonly HeardAt[],
  isPlanned: (address: string) => boolean | null,
): AuditedQuerier {
  const [first] = list;
  if (first === undefined) throw new RangeError("A querier that nobody heard");
  const { address, version } = first.querier;
  const latest = list.reduce((a, b) => (b.querier.lastMs > a.querier.lastMs ? b : a));
  const told = <K extends "intervalMs" | "maxResponseMs" | "robustness" | "mac">(
    key: K,
  ): NonNullable<QuerierHeard[K]> | null =>
    latest.querier[key] ?? list.find(({ querier }) => querier[key] !== undefined)?.querier[key] ?? null;
  const sentBy = list.filter(({ querier }) => querier.isOwn === true).map(({ at }) => at.host);
  const heardBy = [...new Set(list.filter(({ querier }) => querier.isOwn !== true).map(({ at }) => at.host))];
  return {
    address,
    mac: told("mac"),
    version,
    intervalMs: told("intervalMs"),
    maxResponseMs: told("maxResponseMs"),
    robustness: told("robustness"),
    membershipMs: membershipMs(ownTimers(latest.querier, timersOf(run, family))),
    queries: greatestOf(
      [...groupBy(list, ({ at }) => at.host).values()].map((of) =>
        of.reduce((sum, { querier }) => sum + querier.queries, 0),
      ),
    ),
    firstMs: leastOf(list.map(({ querier }) => querier.firstMs)),
    lastMs: latest.querier.lastMs,
    silentMs: Math.max(0, latest.at.watchedToMs - latest.querier.lastMs),
    heardBy,
    unheardBy: watching.map(({ host }) => host).filter((host) => !heardBy.includes(host) && !sentBy.includes(host)),
    sender: sentBy[0] ?? null,
    isPlanned: isPlanned(address),
  };
}

function stateOf(
  site: SiteIndex,
  run: RunObservations,
  domain: FamilyDomain,
  heard: readonly AuditedQuerier[],
): QuerierState {
  if (heard.some(({ isPlanned, sender }) => isPlanned === false || sender !== null)) return "another";
  if (areSeveralAtOnce(domain)) return "several";
  if (isUnasked(site, run, domain)) return "none";
  if (heard.length === 0) return "unknown";
  const addressed = heard.filter((one) => hasAddress(one));
  if (addressed.length === 0) return "unaddressed";
  return addressed.some(({ isPlanned }) => isPlanned === true) ? "as-planned" : "one";
}

/** Queries from 0.0.0.0 or :: that nobody with an address sends beside them, told without a finding. */
export function unaddressedRemarks(site: SiteIndex, run: RunObservations): string[] {
  return auditQueriers(site, run).flatMap(({ heard, vlan }) =>
    heard
      .filter((one) => !hasAddress(one))
      .map(
        ({ address, mac, version }) =>
          `Queries come from ${address}${vlan === null ? "" : ` in VLAN ${vlan}`}${mac === null ? "" : ` (hardware address ${mac})`}, in version ${version}: a switch sends them that has no address there or stands in for a querier. They win no election, and some switches and hosts do not heed them (RFC 4541, section 2.1.1, rule 4); give the querier an address.`,
      ),
  );
}
