import { type MembershipView, mergeSequenceRanges, type SequenceRange, viewMembership } from "@dyetrace/measure";
import type { MembershipEvent, WatcherReport } from "@dyetrace/wire";
import type { AgentEvidence, RunEvidence } from "./conduct-run.ts";

/** Frames of one stream at one host's network card over the whole run, joined or not. */
export interface SeenFrames {
  readonly frames: number;
  readonly asUnicastFrames: number;
  readonly ranges: readonly SequenceRange[];
  readonly firstNs: number | null;
  readonly lastNs: number | null;
  /** The same, interval by interval: for what happened after a leave. */
  readonly parts: readonly { readonly frames: number; readonly firstNs: number; readonly lastNs: number }[];
}

/** @returns null if that agent can't watch, told nothing, or its interface was down for a time */
export function seenFrames(evidence: RunEvidence, agent: string, streamId: number): SeenFrames | null {
  const watch = evidence.agents.get(agent)?.watch ?? [];
  if (watch.length === 0 || watch.some((report) => report.sinceNs === null)) return null;
  const parts = watch.flatMap((report) => report.streams.filter((stream) => stream.streamId === streamId));
  const timed = parts.flatMap(({ frames, firstNs, lastNs }) =>
    firstNs === null || lastNs === null ? [] : [{ frames, firstNs, lastNs }],
  );
  return {
    frames: parts.reduce((sum, part) => sum + part.frames, 0),
    asUnicastFrames: parts.reduce((sum, part) => sum + part.asUnicastFrames, 0),
    ranges: mergeSequenceRanges(parts.flatMap((part) => part.ranges)),
    firstNs: timed[0]?.firstNs ?? null,
    lastNs: timed.at(-1)?.lastNs ?? null,
    parts: timed,
  };
}

/** Queries, reports and leaves at one host. @returns null if that agent can't watch */
export function heardMembership(evidence: AgentEvidence | undefined): {
  readonly events: readonly MembershipEvent[];
  readonly view: MembershipView;
} | null {
  const first = evidence?.watch[0];
  if (evidence === undefined || first === undefined) return null;
  const events = evidence.watch.flatMap((report) => report.membership);
  const untilMs = lastInstantNs(evidence) / 1e6;
  return { events, view: viewMembership(events, { fromMs: (first.sinceNs ?? 0) / 1e6, untilMs }) };
}

const lastInstantNs = ({ reports }: AgentEvidence): number => reports.at(-1)?.toNs ?? 0;

/** Frames that the kernel could not hand to the watcher: its counts are then lower bounds. */
export const watcherDrops = (watch: readonly WatcherReport[]): number =>
  watch.reduce((sum, report) => sum + report.dropped, 0);
