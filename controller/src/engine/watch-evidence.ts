import {
  type MembershipView,
  mergeSequenceRanges,
  type SequenceRange,
  unbrokenWatchNs,
  viewMembership,
} from "@dyetrace/measure";
import type { MembershipEvent, WatchedStream, WatcherReport } from "@dyetrace/wire";
import type { AgentEvidence } from "./conduct-run.ts";

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

/** Queries, reports and leaves at one host. @returns null if that agent can't watch */
export function heardMembership(evidence: AgentEvidence | undefined): {
  readonly events: readonly MembershipEvent[];
  readonly view: MembershipView;
} | null {
  const last = evidence?.watch.at(-1);
  if (evidence === undefined || last === undefined) return null;
  const events = evidence.watch.flatMap((report) => report.membership);
  const untilNs = evidence.reports.at(-1)?.toNs ?? 0;
  // Down at the end: it has not watched at all, as far as silence goes.
  return { events, view: viewMembership(events, { fromMs: (last.sinceNs ?? untilNs) / 1e6, untilMs: untilNs / 1e6 }) };
}

/** Frames that the kernel could not hand to the watcher: its counts are then lower bounds. */
export const watcherDrops = (watch: readonly WatcherReport[]): number =>
  watch.reduce((sum, report) => sum + report.dropped, 0);
