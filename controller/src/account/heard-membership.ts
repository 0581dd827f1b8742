import { type MembershipView, viewMembership } from "@dyetrace/measure";
import { greatestOf, type MembershipEvent } from "@dyetrace/wire";
import type { AgentEvidence } from "./run-evidence.ts";

/** Queries, reports and leaves at one host: those of the run, and those shortly before it that still stood at its start. */
export interface HeardMembership {
  readonly events: readonly MembershipEvent[];
  readonly view: MembershipView;
}

/** Standard query interval, where queries tell none: RFC 3376, section 8.2. */
const STANDARD_QUERY_INTERVAL_NS = 125e9;
/** A querier whose last query is older than this many of its intervals at the run's start is a thing of the past. */
const LIVE_INTERVALS = 1.5;

/** @returns null if that agent can't watch */
export function heardMembership({ reports, watch }: Pick<AgentEvidence, "reports" | "watch">): HeardMembership | null {
  const last = watch.at(-1);
  if (last === undefined) return null;
  const all = watch.flatMap((report) => report.membership);
  const untilNs = reports.at(-1)?.toNs ?? 0;
  // Down at the end: it has not watched at all, as far as silence goes.
  const watched = { fromMs: (last.sinceNs ?? untilNs) / 1e6, untilMs: untilNs / 1e6 };
  const sinceNs = -LIVE_INTERVALS * queryIntervalNs(viewMembership(all, watched));
  const events = all.filter(({ atNs }) => atNs >= sinceNs);
  return { events, view: viewMembership(events, watched) };
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
