import { layer2Domain } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, having, rowsOf } from "../finding/finding-row.ts";
import { nameList, seconds, verb } from "../finding/wording.ts";
import { familyOf, protocolOf } from "../run/address-family.ts";
import {
  type MembershipTimers,
  type QuerierHeard,
  type RunObservations,
  STANDARD_TIMERS,
} from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { hasAddress, isOfRun, membershipMs, ownTimers, timersOf } from "./querier-timing.ts";
import { type FamilyDomain, familyDomains, inVlan, plannedHost, plannedQuerier } from "./query-domains.ts";
import { fullVersion } from "./spoken-versions.ts";

/** A querier whose queries come further apart than memberships last. */
interface SlowQuerier extends FamilyDomain {
  readonly streams: readonly string[];
  readonly querier: QuerierHeard & { readonly intervalMs: number };
  readonly timers: MembershipTimers;
  /** Nodes that keep memberships too short a time by the plan; null where it says nothing of any, and the standard's default is meant. */
  readonly keepers: { readonly names: readonly string[]; readonly shortestMs: number } | null;
  readonly planned: string | null;
}

/** By default, with a query interval of 125 s and a response interval of 10 s (RFC 3376 section 8.4, RFC 3810 section 9.4). */
const DEFAULT_MEMBERSHIP_MS = membershipMs(STANDARD_TIMERS);
/** Switches may be set to the querier's figures without the plan's saying so. Our estimate, no source. */
const ASSUMED_CONFIDENCE = 0.6;

const row = rowsOf<SlowQuerier>({
  streams: ({ streams }) => streams,
  suspects: ({ planned, keepers }) => [...(planned === null ? [] : [planned]), ...(keepers?.names ?? [])],
});

const SAID_OF_BOTH = {
  kind: "slow-querier",
  advice:
    "Let the querier ask more often, or set the switches' membership time to the figure above; where they can be told to take it from the queries, do that.",
  reference: "RFC 3376, sections 8.2 to 8.4; RFC 3810, sections 9.2 to 9.4; RFC 4541, section 2.1.1",
} as const;

const ROWS = [
  row({
    ...SAID_OF_BOTH,
    match: (one) => having(one, "keepers"),
    title: (one) =>
      `${asksEvery(one)}, and ${nameList(one.keepers.names)} ${verb(one.keepers.names, "keep")} memberships for ${seconds(one.keepers.shortestMs)} by the plan: they run out between two queries`,
    evidence: (one) => [arithmetic(one), tellShortfall(one, one.keepers.shortestMs)],
  }),
  row({
    ...SAID_OF_BOTH,
    match: (one) => one,
    title: (one) =>
      `${asksEvery(one)}, and switches that are not set to it keep memberships for ${seconds(DEFAULT_MEMBERSHIP_MS)}: there they run out between two queries`,
    evidence: (one) => [arithmetic(one), tellShortfall(one, DEFAULT_MEMBERSHIP_MS)],
    confidence: () => ASSUMED_CONFIDENCE,
  }),
];

/** Queriers that are too slow for the time that memberships last, of families that the run's streams are of. */
export function findSlowQueriers(site: SiteIndex, run: RunObservations): Finding[] {
  return findingsOf(
    ROWS,
    familyDomains(site, run).flatMap((domain) => slowIn(site, run, domain)),
  );
}

/** What is not too slow, but leaves no query to be lost. */
export function slowQuerierRemarks(site: SiteIndex, run: RunObservations): string[] {
  return familyDomains(site, run).flatMap((domain) => {
    const keepers = keepersIn(site, domain);
    return askingIn(run, domain).flatMap(({ querier, timers }) => {
      const neededMs = membershipMs(timers);
      const tight = keepers.filter(({ timeMs }) => timeMs > querier.intervalMs && timeMs < neededMs);
      if (tight.length === 0) return [];
      const names = tight.map(({ name }) => name);
      const shortestMs = Math.min(...tight.map(({ timeMs }) => timeMs));
      return [
        `${nameList(names)} ${verb(names, "keep")} memberships for ${seconds(shortestMs)} by the plan, and ${querier.address} asks every ${seconds(querier.intervalMs)}: ${times(timers)} (RFC 3376, section 8.4; RFC 3810, section 9.4), so a single lost query or report can end one.`,
      ];
    });
  });
}

interface Asking {
  readonly querier: QuerierHeard & { readonly intervalMs: number };
  readonly timers: MembershipTimers;
}

/** Each that asks in the run and tells or shows how often, once. */
function askingIn(run: RunObservations, { family, queriers }: FamilyDomain): Asking[] {
  const found = new Map<string, Asking>();
  for (const querier of queriers.flatMap(({ queriers: heard }) => heard)) {
    const { intervalMs } = querier;
    if (querier.family !== family || intervalMs === undefined || !isOfRun(querier) || !hasAddress(querier)) continue;
    if (found.has(querier.address)) continue;
    found.set(querier.address, {
      querier: { ...querier, intervalMs },
      timers: ownTimers(querier, timersOf(run, family)),
    });
  }
  return [...found.values()];
}

function slowIn(site: SiteIndex, run: RunObservations, domain: FamilyDomain): SlowQuerier[] {
  const keepers = keepersIn(site, domain);
  const streams = run.streams.filter(({ group }) => familyOf(group) === domain.family).map(({ stream }) => stream);
  return askingIn(run, domain).flatMap(({ querier, timers }): SlowQuerier[] => {
    const short = keepers.filter(({ timeMs }) => timeMs < querier.intervalMs);
    // Switches take the interval from queries of the full version, older ones tell none (RFC 3376, section 4.1.7).
    const isUntold = keepers.length === 0 && querier.version < fullVersion(domain.family);
    if (short.length === 0 && !(isUntold && querier.intervalMs > DEFAULT_MEMBERSHIP_MS)) return [];
    const names = short.map(({ name }) => name);
    const shortestMs = Math.min(...short.map(({ timeMs }) => timeMs));
    return [
      {
        ...domain,
        streams,
        querier,
        timers,
        keepers: names.length === 0 ? null : { names, shortestMs },
        planned: plannedQuerier(site, run, domain),
      },
    ];
  });
}

/** Nodes of a domain that the plan gives a membership time. */
function keepersIn(site: SiteIndex, domain: FamilyDomain): { readonly name: string; readonly timeMs: number }[] {
  const host = plannedHost(site, domain);
  const within = host === null ? null : layer2Domain(site.graph, host);
  return [...site.graph.nodes.values()].flatMap(({ name, membershipTimeMs }) =>
    membershipTimeMs === undefined || within?.has(name) === false ? [] : [{ name, timeMs: membershipTimeMs }],
  );
}

const asksEvery = ({ family, vlan, querier }: SlowQuerier): string =>
  `The ${protocolOf(family)} querier${inVlan(vlan)}, ${querier.address}, asks every ${seconds(querier.intervalMs)}`;

const times = ({ robustness, queryIntervalMs, queryResponseMs }: MembershipTimers): string =>
  `a membership has to last robustness x query interval + query response interval = ${robustness} x ${seconds(queryIntervalMs)} + ${seconds(queryResponseMs)} = ${seconds(membershipMs({ robustness, queryIntervalMs, queryResponseMs, lastMemberMs: 0 }))}`;

const arithmetic = ({ timers }: SlowQuerier): string => `By this querier's figures ${times(timers)}.`;

const tellShortfall = ({ querier }: SlowQuerier, lastsMs: number): string =>
  `It lasts ${seconds(lastsMs)}, and the next query comes ${seconds(querier.intervalMs)} after the one before: for up to ${seconds(querier.intervalMs - lastsMs)} and the time to answer nobody counts as a member.`;
