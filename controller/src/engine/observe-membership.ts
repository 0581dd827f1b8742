import { type MembershipTimers, type RunObservations, STANDARD_TIMERS } from "@dyetrace/locate";
import type { MembershipView, QuerierSeen } from "@dyetrace/measure";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { CompiledRun } from "./compile-scenario.ts";
import type { RunEvidence } from "./conduct-run.ts";
import { heardMembership } from "./watch-evidence.ts";

type MembershipPart = Pick<RunObservations, "queriers" | "membership" | "capabilityGaps" | "timers">;

/** Who asks, who answers, and what could not be heard. */
export function observeMembership(run: CompiledRun, graph: SiteGraph, evidence: RunEvidence): MembershipPart {
  const groups = new Set(run.streams.map((stream) => stream.group));
  const agents = [...run.tasks.keys()].map((agent) => ({
    host: hostOfAgent(graph, agent) ?? agent,
    view: heardMembership(evidence.agents.get(agent))?.view ?? null,
  }));
  return {
    queriers: agents.map(({ host, view }) => ({
      host,
      canHear: view !== null,
      watchedFromMs: view?.fromMs ?? 0,
      watchedToMs: view?.untilMs ?? 0,
      queriers: (view?.queriers ?? [])
        .filter((querier) => querier.queries > 0 && !querier.isOwn)
        .map(({ address, family, version, queries, firstMs, lastMs }) => ({
          address,
          family,
          version,
          queries,
          firstMs,
          lastMs,
        })),
    })),
    membership: agents.flatMap(({ host, view }) =>
      (view?.own ?? [])
        .filter((notice) => groups.has(notice.group))
        .map(({ kind, group, atMs }) => ({ kind, host, group, atMs })),
    ),
    capabilityGaps: agents
      .filter(({ view }) => view === null)
      .map(({ host }) => ({
        host,
        what: "cannot watch frames: uninvited traffic, queries and reports are unknown there",
      })),
    timers: timersOf(agents.flatMap(({ view }) => (view === null ? [] : [view]))),
  };
}

/** The elected querier's own figures where somebody heard them, else the standard's defaults. */
function timersOf(views: readonly MembershipView[]): MembershipTimers {
  for (const view of views) {
    const elected = view.ipv4.electedQuerier ?? view.ipv6.electedQuerier;
    const querier = view.queriers.find((candidate) => candidate.address === elected);
    if (querier !== undefined) return timersOfQuerier(querier);
  }
  return STANDARD_TIMERS;
}

function timersOfQuerier({
  intervalAdvertisedMs,
  intervalSeenMs,
  maxResponseMs,
  robustness,
}: QuerierSeen): MembershipTimers {
  return {
    queryIntervalMs: intervalAdvertisedMs ?? intervalSeenMs ?? STANDARD_TIMERS.queryIntervalMs,
    queryResponseMs: maxResponseMs ?? STANDARD_TIMERS.queryResponseMs,
    robustness: robustness ?? STANDARD_TIMERS.robustness,
    lastMemberMs: STANDARD_TIMERS.lastMemberMs,
  };
}
