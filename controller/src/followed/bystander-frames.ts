import { type SequenceRange, type StreamReceipt, subtractRanges } from "@dyetrace/measure";
import type { WatchedStream } from "@dyetrace/wire";
import type { AgentEvidence } from "../account/run-evidence.ts";
import type { ToldPart } from "./told-stays.ts";

/** A part of what an agent saw of a stream that nobody on its host had joined, by the numbers of the flow: as its watcher tells of ours. */
export function asFrames(streamId: number, receipt: StreamReceipt, { entry }: ToldPart): WatchedStream {
  return {
    streamId,
    frames: receipt.received,
    firstNs: receipt.firstArrivalNs,
    lastNs: receipt.lastArrivalNs,
    ranges: rangesIn(receipt).map(([first, last]): [number, number] => [first, last]),
    unlistedFrames: 0,
    asUnicastFrames: 0,
    taggedFrames: 0,
    foreignFrames: entry.watched?.unreadFrames ?? 0,
  };
}

/** Numbers that came: those of the spans without the lost ones; of an outline of several gaps none. */
const rangesIn = ({ spans }: StreamReceipt): readonly SequenceRange[] =>
  spans.flatMap(({ firstSeq, endSeq, lost, coarse }) =>
    endSeq <= firstSeq
      ? []
      : subtractRanges(
          [[firstSeq, endSeq - 1]],
          [...lost, ...coarse].map(([seq, count]): SequenceRange => [seq, seq + count - 1]),
        ),
  );

/** What the watcher told, and beside it what the agent saw of streams of others. */
export const withFrames = (watch: AgentEvidence["watch"], frames: readonly WatchedStream[]): AgentEvidence["watch"] => {
  const last = watch.at(-1);
  if (frames.length === 0 || last === undefined) return watch;
  return [...watch.slice(0, -1), { ...last, streams: [...last.streams, ...frames] }];
};
