import {
  type HeardReport,
  type MembershipTimers,
  type QuerierHeard,
  type RunObservations,
  STANDARD_TIMERS,
} from "@dyetrace/locate";
import type { MembershipView, QuerierSeen } from "@dyetrace/measure";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { MembershipEvent } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";

type MembershipPart = Pick<RunObservations, "queriers" | "membership" | "timers" | "reportsHeard">;

/** A silence of more than this many of its intervals, and a querier's queries stand as two stretches. */
const MISSED_INTERVALS = 1.5;

/** Who asks, and who answers. */
export function observeMembership({ run, agents: accounts }: RunAccount, graph: SiteGraph): MembershipPart {
  const groups = new Set(run.streams.map((stream) => stream.group));
  const agents = [...run.tasks.keys()].map((agent) => ({
    host: hostOfAgent(graph, agent) ?? agent,
    heard: accounts.get(agent)?.heard ?? null,
  }));
  const heard = agents.flatMap((one) => one.heard ?? []);
  return {
    ...(heard.length === 0 ? {} : { reportsHeard: reportsHeard(agents, groups) }),
    queriers: agents.map(({ host, heard }) => ({
      host,
      canHear: heard !== null,
      watchedFromMs: heard?.view.fromMs ?? 0,
      watchedToMs: heard?.view.untilMs ?? 0,
      queriers: (heard?.view.queriers ?? []).filter(({ isOwn }) => !isOwn).flatMap(stretchesOf),
    })),
    membership: agents.flatMap(({ host, heard }) =>
      (heard?.view.own ?? [])
        .filter((notice) => groups.has(notice.group))
        .map(({ kind, group, atMs }) => ({ kind, host, group, atMs })),
    ),
    timers: {
      ...timersOf(heard.map(({ view }) => view)),
      lastMemberMs: lastMemberMs(heard.flatMap(({ events }) => events)) ?? STANDARD_TIMERS.lastMemberMs,
    },
  };
}

interface HostView {
  readonly host: string;
  /** Null if it can't watch. */
  readonly heard: { readonly view: MembershipView } | null;
}

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
  const { address, family, version, generalQueryMs, intervalAdvertisedMs, intervalSeenMs } = querier;
  const intervalMs = intervalAdvertisedMs ?? intervalSeenMs ?? STANDARD_TIMERS.queryIntervalMs;
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
    return { address, family, version, queries: times.length, firstMs, lastMs };
  });
}

type Timers = Omit<MembershipTimers, "lastMemberMs">;

/** The elected querier's own figures where somebody heard them, else the standard's defaults. */
function timersOf(views: readonly MembershipView[]): Timers {
  for (const view of views) {
    const elected = view.ipv4.electedQuerier ?? view.ipv6.electedQuerier;
    const querier = view.queriers.find((candidate) => candidate.address === elected);
    if (querier !== undefined) return timersOfQuerier(querier);
  }
  return STANDARD_TIMERS;
}

const timersOfQuerier = ({ intervalAdvertisedMs, intervalSeenMs, maxResponseMs, robustness }: QuerierSeen): Timers => ({
  queryIntervalMs: intervalAdvertisedMs ?? intervalSeenMs ?? STANDARD_TIMERS.queryIntervalMs,
  queryResponseMs: maxResponseMs ?? STANDARD_TIMERS.queryResponseMs,
  robustness: robustness ?? STANDARD_TIMERS.robustness,
});

/**
 * Last member query time as the queries about single groups tell it: their response time is the last member query
 * interval, and robustness says how many of them are sent (RFC 3376 8.8 to 8.10). Null where none was heard.
 */
function lastMemberMs(events: readonly MembershipEvent[]): number | null {
  const told = events.flatMap(({ message, direction }) =>
    message.kind === "query" && message.group !== null && direction === "in"
      ? [message.maxResponseMs * (message.robustness ?? STANDARD_TIMERS.robustness)]
      : [],
  );
  return told.length === 0 ? null : Math.max(...told);
}
