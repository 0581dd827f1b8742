import { layer2Domain, type SiteGraph } from "@dyetrace/site";
import type {
  MembershipEvent,
  MembershipTimers,
  QuerierObservation,
  RunObservations,
} from "../../../packages/locate/src/run/run-observations.ts";
import type { Random } from "../seeded-random.ts";

export interface Querying {
  /** When the querier asks, ms; ascending. */
  readonly atMs: readonly number[];
  readonly timers: MembershipTimers;
  /** Whether a query of that time comes to a host. */
  readonly isHeard: (host: string, atMs: number) => boolean;
  readonly untilMs: number;
}

/** Times of general queries with an even interval, the first at a random time of the first interval from `fromMs` on. */
export function queryTimes(random: Random, intervalMs: number, fromMs: number, untilMs: number): number[] {
  const times: number[] = [];
  for (let at = fromMs + random() * intervalMs; at < untilMs; at += intervalMs) times.push(at);
  return times;
}

/**
 * Adds what agents hear and say of memberships: every host with an agent that watches the run, general queries where they
 * come, a report for each join and for each query heard, within the response time, and a leave for each leave.
 */
export function withQueries(
  run: RunObservations,
  agents: readonly string[],
  { atMs, timers, isHeard, untilMs }: Querying,
  random: Random,
): RunObservations {
  const groupOf = new Map(run.streams.map(({ stream, group }) => [stream, group]));
  const queriers = agents.map((host): QuerierObservation => {
    const heard = atMs.filter((at) => isHeard(host, at));
    const [firstMs, lastMs] = [heard[0], heard.at(-1)];
    return {
      host,
      canHear: true,
      watchedFromMs: -3_000,
      watchedToMs: untilMs,
      queriers:
        firstMs === undefined || lastMs === undefined
          ? []
          : [{ address: "192.0.2.1", family: 4, version: 3, queries: heard.length, firstMs, lastMs }],
    };
  });
  const membership = run.listeners.flatMap(({ host, stream, joinedFromMs, joinedToMs }): MembershipEvent[] => {
    const group = groupOf.get(stream) ?? "";
    const answers = atMs.filter((at) => isHeard(host, at)).map((at) => at + random() * timers.queryResponseMs);
    const reports = [joinedFromMs, ...answers]
      .filter((at) => at <= untilMs)
      .map((at): MembershipEvent => ({ kind: "report", host, group, atMs: at }));
    return joinedToMs === null ? reports : [...reports, { kind: "leave", host, group, atMs: joinedToMs }];
  });
  return { ...run, queriers, membership, timers };
}

/** Hosts that a querier's queries come to where nothing is wrong; none where the site has no querier. */
export function queriedHosts(graph: SiteGraph): ReadonlySet<string> {
  const querier = [...graph.nodes.values()].find((node) => node.isQuerier);
  return querier === undefined ? new Set() : layer2Domain(graph, querier.name);
}

/** Adds what hosts hear of a querier of a family that no stream is of. */
export function queriedEverywhere(run: RunObservations, family: 4 | 6): RunObservations {
  const { queryIntervalMs } = run.timers;
  return {
    ...run,
    queriers: run.queriers.map((one) => {
      const queries = Math.floor((one.watchedToMs - one.watchedFromMs) / queryIntervalMs);
      const [firstMs, lastMs] = [one.watchedFromMs + 1, one.watchedFromMs + 1 + (queries - 1) * queryIntervalMs];
      const steady = { address: family === 4 ? "192.0.2.2" : "fe80::2", family, version: family === 4 ? 3 : 2 };
      return { ...one, queriers: [...one.queriers, { ...steady, queries, firstMs, lastMs }] };
    }),
  };
}
