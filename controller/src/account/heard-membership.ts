import { type MembershipView, viewMembership } from "@dyetrace/measure";
import {
  greatestOf,
  MEMBERSHIP_HISTORY_MESSAGES,
  MEMBERSHIP_HISTORY_NS,
  type MembershipEvent,
  type WatcherReport,
} from "@dyetrace/wire";
import type { AgentEvidence } from "./run-evidence.ts";

/**
 * Queries, reports and leaves at one host. Reports and leaves are those of the run and of shortly before it; queriers are
 * told over all that is known, so that their intervals are learnt from as many queries as there are.
 */
export interface HeardMembership {
  /** Of the run, and of shortly before it. */
  readonly events: readonly MembershipEvent[];
  /** From `fromMs` to `untilMs` every query that came is told; before and after that nobody knows. */
  readonly view: MembershipView;
}

/** Standard query interval, where queries tell none: RFC 3376, section 8.2. */
const STANDARD_QUERY_INTERVAL_NS = 125e9;
/** A report that is older than this many query intervals at the run's start is a thing of the past: it was renewed, or ran out. */
const LIVE_INTERVALS = 1.5;

/** @returns null if that agent can't watch */
export function heardMembership({ reports, watch }: Pick<AgentEvidence, "reports" | "watch">): HeardMembership | null {
  const last = watch.at(-1);
  if (last === undefined) return null;
  const all = watch.flatMap((report) => report.membership);
  const untilNs = Math.min(reports.at(-1)?.toNs ?? 0, listedUntilNs(watch));
  // Down at the end: it has not watched at all, as far as silence goes.
  const sinceNs = Math.max(last.sinceNs ?? untilNs, listedFromNs(all));
  const watched = { fromMs: Math.min(sinceNs, untilNs) / 1e6, untilMs: untilNs / 1e6 };
  const view = viewMembership(all, watched);
  const liveNs = -LIVE_INTERVALS * queryIntervalNs(view);
  const events = all.filter(({ atNs }) => atNs >= liveNs);
  return { events, view: { ...viewMembership(events, watched), ...queriersOf(view) } };
}

const queriersOf = ({ queriers, ipv4, ipv6 }: MembershipView): Pick<MembershipView, "queriers" | "ipv4" | "ipv6"> => ({
  queriers,
  ipv4,
  ipv6,
});

/** Before this, queries were not kept for the run. */
function listedFromNs(events: readonly MembershipEvent[]): number {
  const kept = events.filter(({ atNs, message: { kind } }) => atNs < 0 && (kind === "query" || kind === "pim-hello"));
  const oldestNs = kept.length < MEMBERSHIP_HISTORY_MESSAGES ? Number.NEGATIVE_INFINITY : (kept[0]?.atNs ?? 0);
  return Math.max(-MEMBERSHIP_HISTORY_NS, oldestNs);
}

/** Queries may be among the messages that found no room in a report: from there on no silence is proven. */
function listedUntilNs(watch: readonly WatcherReport[]): number {
  const full = watch.find(({ unlistedMembership }) => unlistedMembership > 0);
  return full === undefined ? Number.POSITIVE_INFINITY : (full.membership.at(-1)?.atNs ?? 0);
}

/** The longest interval of the queriers in office. */
function queryIntervalNs({ queriers, ipv4, ipv6 }: MembershipView): number {
  const elected = queriers.filter(({ address }) => address === ipv4.electedQuerier || address === ipv6.electedQuerier);
  const intervals = elected.map(
    ({ intervalAdvertisedMs, intervalSeenMs }) => (intervalAdvertisedMs ?? intervalSeenMs ?? 0) * 1e6,
  );
  const longest = greatestOf(intervals, 0);
  return longest === 0 ? STANDARD_QUERY_INTERVAL_NS : longest;
}
