import { countRanges, intersectRanges, type SequenceRange } from "@dyetrace/measure";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { AgentAccount } from "./agent-account.ts";
import type { StayFacts } from "./stay-facts.ts";

/** What one agent saw of a stream at its network card while it was no member. */
export interface Bystander {
  readonly stream: string;
  readonly agent: string;
  /** False: it could not watch, so its silence proves nothing. */
  readonly canSee: boolean;
  readonly frames: number;
  readonly ranges: readonly SequenceRange[];
  /** Null where no frame came. */
  readonly firstNs: number | null;
  readonly lastNs: number | null;
  /** True when some other program on that host has joined the group; null when it cannot tell. */
  readonly isGroupUsedByHost: boolean | null;
}

/** For each stream, every agent that neither sends nor ever joins it. */
export function bystandersOf(run: CompiledRun, agents: ReadonlyMap<string, AgentAccount>): Bystander[] {
  const joined = new Set(run.joins.map((join) => `${join.stream} ${join.agent}`));
  return run.streams.flatMap(({ name: stream, source, streamId, production, followed }) =>
    [...run.tasks.keys()]
      .filter((agent) => agent !== source && !joined.has(`${stream} ${agent}`))
      .map((agent): Bystander => {
        const account = agents.get(agent);
        const seen = account?.watch.framesOf(streamId) ?? null;
        const isRead = production === undefined || followed?.watchers.includes(agent) === true;
        const isWhole = account !== undefined && account.watch.dropped === 0 && account.ending !== null;
        return {
          stream,
          agent,
          // A watcher that lost frames, or was lost itself, and saw none proves nothing.
          canSee: seen !== null && isRead && (isWhole || seen.frames > 0),
          frames: seen?.frames ?? 0,
          ranges: seen?.ranges ?? [],
          firstNs: seen?.parts[0]?.firstNs ?? null,
          lastNs: seen?.parts.at(-1)?.lastNs ?? null,
          isGroupUsedByHost: account?.ending?.groupsInUse?.has(streamId) ?? null,
        };
      }),
  );
}

/** Frames that came to listeners between a leave and their next join, or the end: what a leave left behind. */
export function seenAfterLeaves(run: CompiledRun, stays: readonly StayFacts[]): Bystander[] {
  return stays.flatMap(({ stream, join, nextJoinNs, reception, frames, source }): Bystander[] => {
    const leftNs = reception?.membership.leaveRequestedNs ?? null;
    if (join.toNs === null || leftNs === null || frames === null || source === null) return [];
    const untilNs = nextJoinNs ?? run.endNs;
    const after: SequenceRange = [source.sent.nextAt(leftNs), source.sent.nextAt(untilNs) - 1];
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
        agent: join.agent,
        canSee: true,
        frames: countRanges(ranges),
        ranges,
        firstNs: Math.max(first.firstNs, leftNs),
        lastNs: Math.min(last.lastNs, untilNs),
        isGroupUsedByHost: null,
      },
    ];
  });
}
