import type { BystanderObservation, SeqRange } from "@dyetrace/locate";
import { countRanges, intersectRanges } from "@dyetrace/measure";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { RunEvidence } from "./run-evidence.ts";
import type { Stay } from "./stays.ts";
import { seenFrames, watcherDrops } from "./watch-evidence.ts";

/** For each stream, every agent that neither sends nor ever joins it. */
export function observeBystanders(run: CompiledRun, graph: SiteGraph, evidence: RunEvidence): BystanderObservation[] {
  const joined = new Set(run.joins.map((join) => `${join.stream} ${join.agent}`));
  return run.streams.flatMap((stream) =>
    [...run.tasks.keys()]
      .filter((agent) => agent !== stream.source && !joined.has(`${stream.name} ${agent}`))
      .map((agent): BystanderObservation => {
        const one = evidence.agents.get(agent);
        const seen = seenFrames(one, stream.streamId);
        const isWhole = watcherDrops(one?.watch ?? []) === 0 && one?.final != null;
        return {
          stream: stream.name,
          host: hostOfAgent(graph, agent) ?? agent,
          // A watcher that lost frames, or was lost itself, and saw none proves nothing.
          canSee: seen !== null && (isWhole || seen.frames > 0),
          frames: seen?.frames ?? 0,
          ranges: seen?.ranges ?? [],
          firstMs: toMs(seen?.parts[0]?.firstNs),
          lastMs: toMs(seen?.parts.at(-1)?.lastNs),
          isGroupUsedByHost: one?.final?.totals?.groupsInUse?.includes(stream.streamId) ?? null,
        };
      }),
  );
}

/** Frames that came to a listener between one of its leaves and its next join, or the end: what a leave left behind. */
export function observeNonMembers(stays: readonly Stay[], graph: SiteGraph): BystanderObservation[] {
  return stays.flatMap((stay): BystanderObservation[] => {
    const { run, stream, join, nextJoinNs, reception, frames, source } = stay;
    const leftNs = reception?.membership.leaveRequestedNs ?? null;
    if (join.toNs === null || leftNs === null || frames === null || source === null) return [];
    const untilNs = nextJoinNs ?? run.endNs;
    const after: SeqRange = [source.sent.nextAt(leftNs), source.sent.nextAt(untilNs) - 1];
    const parts = frames.parts.filter(
      ({ ranges, firstNs, lastNs }) =>
        lastNs > leftNs && firstNs < untilNs && intersectRanges(ranges, [after]).length > 0,
    );
    const ranges = after[1] < after[0] ? [] : intersectRanges(frames.ranges, [after]);
    const [first, last] = [parts[0], parts.at(-1)];
    if (first === undefined || last === undefined || ranges.length === 0) return [];
    return [
      {
        stream: stream.name,
        host: hostOfAgent(graph, join.agent) ?? join.agent,
        canSee: true,
        frames: countRanges(ranges),
        ranges,
        firstMs: Math.max(first.firstNs, leftNs) / 1e6,
        lastMs: Math.min(last.lastNs, untilNs) / 1e6,
        isGroupUsedByHost: null,
      },
    ];
  });
}

const toMs = (ns: number | null | undefined): number | null => (ns == null ? null : ns / 1e6);
