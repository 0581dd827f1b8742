import {
  type MembershipView,
  mergeSequenceRanges,
  type SequenceRange,
  unbrokenWatchNs,
  viewMembership,
} from "@dyetrace/measure";
import type { MembershipEvent, WatchedStream, WatcherReport } from "@dyetrace/wire";
import type { AgentEvidence } from "./run-evidence.ts";

/** Frames of one stream at one host's network card over the whole run, joined or not. */
export interface SeenFrames {
  readonly frames: number;
  readonly asUnicastFrames: number;
  readonly foreignFrames: number;
  readonly ranges: readonly SequenceRange[];
  /** The same, interval by interval; only those in which frames came. */
  readonly parts: readonly SeenPart[];
}

export interface SeenPart {
  readonly frames: number;
  readonly asUnicastFrames: number;
  readonly ranges: readonly SequenceRange[];
  readonly firstNs: number;
  readonly lastNs: number;
}

/** @returns null if that agent can't watch, told nothing, or its interface was down for a time */
export function seenFrames(evidence: AgentEvidence | undefined, streamId: number): SeenFrames | null {
  const watch = evidence?.watch ?? [];
  if (unbrokenWatchNs(watch) === null) return null;
  const parts = watch.flatMap((report) => report.streams.filter((stream) => stream.streamId === streamId));
  return {
    frames: parts.reduce((sum, part) => sum + part.frames, 0),
    asUnicastFrames: parts.reduce((sum, part) => sum + part.asUnicastFrames, 0),
    foreignFrames: parts.reduce((sum, part) => sum + part.foreignFrames, 0),
    ranges: mergeSequenceRanges(parts.flatMap((part) => part.ranges)),
    parts: parts.flatMap(timed),
  };
}

const timed = ({ frames, asUnicastFrames, ranges, firstNs, lastNs }: WatchedStream): SeenPart[] =>
  firstNs === null || lastNs === null ? [] : [{ frames, asUnicastFrames, ranges, firstNs, lastNs }];

/** Standard query interval, where queries tell none: RFC 3376, section 8.2. */
const STANDARD_QUERY_INTERVAL_NS = 125e9;
/** A querier whose last query is older than this many of its intervals at the run's start is a thing of the past. */
const LIVE_INTERVALS = 1.5;

/**
 * Queries, reports and leaves at one host: those of the run, and those shortly before it that still stood at its start.
 * @returns null if that agent can't watch
 */
export function heardMembership(evidence: AgentEvidence | undefined): {
  readonly events: readonly MembershipEvent[];
  readonly view: MembershipView;
} | null {
  const last = evidence?.watch.at(-1);
  if (evidence === undefined || last === undefined) return null;
  const all = evidence.watch.flatMap((report) => report.membership);
  const untilNs = evidence.reports.at(-1)?.toNs ?? 0;
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
  const longest = Math.max(0, ...intervals);
  return longest === 0 ? STANDARD_QUERY_INTERVAL_NS : longest;
}

/** Frames that the kernel could not hand to the watcher: its counts are then lower bounds. */
export const watcherDrops = (watch: readonly WatcherReport[]): number =>
  watch.reduce((sum, report) => sum + report.dropped, 0);
