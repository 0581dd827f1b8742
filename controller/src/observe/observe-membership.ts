import {
  type GroupQueryHeard,
  type HeardReport,
  type MembershipTimers,
  type QuerierHeard,
  type RunObservations,
  STANDARD_TIMERS,
} from "@dyetrace/locate";
import type { MembershipView, QuerierSeen } from "@dyetrace/measure";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import { greatestOf, type MembershipEvent } from "@dyetrace/wire";
import type { HeardMembership } from "../account/heard-membership.ts";
import type { RunAccount } from "../account/run-account.ts";

type MembershipPart = Pick<
  RunObservations,
  "queriers" | "membership" | "timers" | "mldTimers" | "reportsHeard" | "groupQueries" | "forcedVersions"
>;

/** A silence of more than this many of its intervals, and a querier's queries stand as two stretches. */
const MISSED_INTERVALS = 1.5;
/** Fewer gaps between queries may all be those of a querier's start, a quarter of its interval (RFC 3376, section 8.6). */
const LEAST_GAPS = 3;
/** Hosts tell of one query at times that differ by their clocks. Common practice, no source. */
const CLOCKS_MS = 1_000;

/** Who asks, and who answers. */
export function observeMembership({ run, agents: accounts }: RunAccount, graph: SiteGraph): MembershipPart {
  const groups = new Set(run.streams.map((stream) => stream.group));
  const agents = [...run.tasks.keys()].map((agent) => ({
    host: hostOfAgent(graph, agent) ?? agent,
    heard: accounts.get(agent)?.heard ?? null,
  }));
  const heard = agents.flatMap((one) => one.heard ?? []);
  const views = heard.map(({ view }) => view);
  const lastMemberMs = lastMemberOf(heard.flatMap(({ events }) => events));
  return {
    ...(heard.length === 0
      ? {}
      : { reportsHeard: reportsHeard(agents, groups), groupQueries: groupQueries(agents, groups) }),
    forcedVersions: [...accounts.values()].flatMap(({ agent, ending }) => {
      const forced = ending?.forcedVersions ?? null;
      return forced === null ? [] : [{ host: hostOfAgent(graph, agent) ?? agent, ...forced }];
    }),
    queriers: agents.map(({ host, heard }) => ({
      host,
      canHear: heard !== null,
      watchedFromMs: heard?.view.fromMs ?? 0,
      watchedToMs: heard?.view.untilMs ?? 0,
      queriers: (heard?.view.queriers ?? []).filter(isHeeded).flatMap(stretchesOf),
    })),
    membership: agents.flatMap(({ host, heard }) =>
      (heard?.view.own ?? [])
        .filter((notice) => groups.has(notice.group))
        .map(({ kind, group, atMs, version }) => ({ kind, host, group, atMs, version })),
    ),
    timers: { ...timersOf(views, 4), lastMemberMs: lastMemberMs(4) },
    mldTimers: { ...timersOf(views, 6), lastMemberMs: lastMemberMs(6) },
  };
}

/** A tagged query is another VLAN's, and on some queries hosts do not act. */
const isHeeded = ({ vlanId, acceptance }: QuerierSeen): boolean => vlanId === null && acceptance === "heeded";

interface HostView {
  readonly host: string;
  /** Null if it can't watch. */
  readonly heard: HeardMembership | null;
}

/** Queries about one of the run's groups that came to agents, whether about all sources or some. */
const groupQueries = (agents: readonly HostView[], groups: ReadonlySet<string>): GroupQueryHeard[] =>
  agents.flatMap(({ host, heard }) =>
    (heard?.events ?? []).flatMap(({ atNs, direction, message }) =>
      message.kind === "query" &&
      direction === "in" &&
      message.vlanId === null &&
      message.group !== null &&
      groups.has(message.group)
        ? [{ host, group: message.group, atMs: atNs / 1e6 }]
        : [],
    ),
  );

/** Which agents heard whose reports for the run's groups. A report is told to be an agent's by the MAC address it left with. */
function reportsHeard(agents: readonly HostView[], groups: ReadonlySet<string>): HeardReport[] {
  const hostOfMac = new Map(
    agents.flatMap(({ host, heard }) => (heard?.view.own ?? []).map(({ mac }): [string, string] => [mac, host])),
  );
  const pairs = new Map<string, HeardReport>();
  for (const { host, heard } of agents) {
    for (const { kind, mac, group } of heard?.view.others ?? []) {
      const from = hostOfMac.get(mac);
      if (kind !== "report" || from === undefined || from === host || !groups.has(group)) continue;
      pairs.set(`${host} ${from} ${group}`, { host, from, group });
    }
  }
  return [...pairs.values()];
}

/** A querier that fell silent and came back stands there once for each stretch of queries. */
function stretchesOf(querier: QuerierSeen): QuerierHeard[] {
  const { address, family, version, generalQueryMs, intervalAdvertisedMs, intervalSeenMs, isOwn } = querier;
  // One query alone is a stretch, whatever the interval.
  const intervalMs = intervalAdvertisedMs ?? intervalSeenMs ?? STANDARD_TIMERS.queryIntervalMs;
  const knownMs = intervalAdvertisedMs ?? (generalQueryMs.length > LEAST_GAPS ? intervalSeenMs : null);
  const says = {
    ...(knownMs === null ? {} : { intervalMs: knownMs }),
    ...(querier.maxResponseMs === null ? {} : { maxResponseMs: querier.maxResponseMs }),
    ...(querier.robustness === null ? {} : { robustness: querier.robustness }),
    mac: querier.mac,
    ...(isOwn ? { isOwn } : {}),
  };
  const stretches: number[][] = [];
  for (const atMs of generalQueryMs) {
    const stretch = stretches.at(-1);
    if (stretch === undefined || atMs - (stretch.at(-1) ?? atMs) > MISSED_INTERVALS * intervalMs)
      stretches.push([atMs]);
    else stretch.push(atMs);
  }
  return stretches.flatMap((times) => {
    const [firstMs, lastMs] = [times[0], times.at(-1)];
    if (firstMs === undefined || lastMs === undefined) return [];
    return { address, family, version, queries: times.length, firstMs, lastMs, ...says };
  });
}

type Timers = Omit<MembershipTimers, "lastMemberMs">;

/** The elected querier's own figures where somebody heard them, else the standard's defaults. */
function timersOf(views: readonly MembershipView[], family: 4 | 6): Timers {
  const inOffice = views.flatMap(({ ipv4, ipv6, queriers }) => {
    const { electedQuerier } = family === 4 ? ipv4 : ipv6;
    // None of those that query without an address is elected.
    return queriers.filter(
      (one) => one.family === family && isHeeded(one) && one.address === (electedQuerier ?? one.address),
    );
  });
  const latestMs = greatestOf(inOffice.map(({ lastMs }) => lastMs));
  // Who heard several queries knows an interval that is not told.
  const [told] = inOffice.filter(({ lastMs }) => latestMs - lastMs <= CLOCKS_MS).sort((a, b) => b.queries - a.queries);
  return told === undefined ? STANDARD_TIMERS : timersOfQuerier(told);
}

const timersOfQuerier = ({ intervalAdvertisedMs, intervalSeenMs, maxResponseMs, robustness }: QuerierSeen): Timers => ({
  queryIntervalMs: intervalAdvertisedMs ?? intervalSeenMs ?? STANDARD_TIMERS.queryIntervalMs,
  queryResponseMs: maxResponseMs ?? STANDARD_TIMERS.queryResponseMs,
  robustness: robustness ?? STANDARD_TIMERS.robustness,
});

/**
 * Last member query time as the queries about single groups tell it: their response time is the last member query
 * interval, and robustness says how many of them are sent (RFC 3376 8.8 to 8.10). The standard's where none was heard.
 */
const lastMemberOf =
  (events: readonly MembershipEvent[]) =>
  (family: 4 | 6): number => {
    const told = events.flatMap(({ message, direction }) =>
      message.kind === "query" && message.family === family && message.group !== null && direction === "in"
        ? [message.maxResponseMs * (message.robustness ?? STANDARD_TIMERS.robustness)]
        : [],
    );
    return told.length === 0 ? STANDARD_TIMERS.lastMemberMs : greatestOf(told);
  };
