import type { GroupUse, WatchedStream, WatcherReport } from "@dyetrace/wire";
import { groupBy } from "@dyetrace/wire/group-by";
import { MOST_GROUP_USES } from "@dyetrace/wire/most-group-uses";
import { mergeSequenceRanges, type SequenceRange } from "../membership/sequence-ranges.ts";

/** Bounds of the report's schema. */
const MOST_RANGES = 1024;
const MOST_MESSAGES = 1024;

/**
 * What a watcher saw in two intervals, `b` right after `a`, as one. Frame counts stay exact; what finds no room in a
 * list is counted as unlisted, as in a report of one interval.
 */
export function mergeWatcherReports(a: WatcherReport | null, b: WatcherReport | null): WatcherReport | null {
  if (a === null || b === null) return null; // it could not watch all the time, so nothing is known of the whole
  const membership = [...a.membership, ...b.membership];
  return {
    sinceNs: b.sinceNs,
    streams: mergeStreams(a.streams, b.streams),
    membership: membership.slice(0, MOST_MESSAGES),
    unlistedMembership: a.unlistedMembership + b.unlistedMembership + Math.max(0, membership.length - MOST_MESSAGES),
    ...(a.groupUse === undefined || b.groupUse === undefined ? {} : { groupUse: mergeUse(a.groupUse, b.groupUse) }),
    dropped: a.dropped + b.dropped,
  };
}

function mergeUse(a: readonly GroupUse[], b: readonly GroupUse[]): GroupUse[] {
  const uses = groupBy([...a, ...b], ({ group, port, source }) => `${group} ${port} ${source}`);
  return [...uses.values()]
    .slice(0, MOST_GROUP_USES)
    .flatMap(([first, ...more]) =>
      first === undefined ? [] : [{ ...first, frames: more.reduce((sum, { frames }) => sum + frames, first.frames) }],
    );
}

function mergeStreams(a: readonly WatchedStream[], b: readonly WatchedStream[]): readonly WatchedStream[] {
  const merged = new Map(a.map((stream) => [stream.streamId, stream]));
  for (const stream of b) {
    const before = merged.get(stream.streamId);
    merged.set(stream.streamId, before === undefined ? stream : joinStreams(before, stream));
  }
  return [...merged.values()];
}

function joinStreams(a: WatchedStream, b: WatchedStream): WatchedStream {
  const ranges = mergeSequenceRanges([...a.ranges, ...b.ranges]);
  const unlisted = ranges.slice(MOST_RANGES).reduce((sum, range) => sum + size(range), 0);
  return {
    streamId: a.streamId,
    frames: a.frames + b.frames,
    firstNs: a.firstNs ?? b.firstNs,
    lastNs: b.lastNs ?? a.lastNs,
    ranges: ranges.slice(0, MOST_RANGES).map(([first, last]): [number, number] => [first, last]),
    unlistedFrames: a.unlistedFrames + b.unlistedFrames + unlisted,
    asUnicastFrames: a.asUnicastFrames + b.asUnicastFrames,
    taggedFrames: a.taggedFrames + b.taggedFrames,
    foreignFrames: a.foreignFrames + b.foreignFrames,
  };
}

const size = ([first, last]: SequenceRange): number => last - first + 1;
