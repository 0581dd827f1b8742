import { groupBy } from "@dyetrace/wire/group-by";
import type { MissingRun } from "../account/missing-runs.ts";
import type { RunAccount } from "../account/run-account.ts";
import type { SourceAccount } from "../account/source-account.ts";
import { receivedPiece } from "../account/stay-numbers.ts";
import type { Stay } from "../account/stays.ts";
import { MINUTE_NS } from "../intake/count-minutes.ts";
import { type LostRange, noteRanges } from "../intake/note-losses.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import type { ReceivedMinute } from "./witnesses.ts";

/** As long as a report of a run is. */
const SECOND_NS = 1e9;

/** What the account of a run knows of streams of others, in the terms of what is noted of our own as reports arrive. */
export interface FollowedLosses {
  /** In the order of their beginnings. */
  readonly episodes: readonly Episode[];
  readonly minutes: readonly ReceivedMinute[];
}

/**
 * No agent alone can tell what it missed of a stream of others: that takes the numbers that all agents' packets make one row of, so
 * it is known once the run is concluded. Packets whose numbers tell nothing, such as those of a stream that nobody saw, make none. Pure.
 */
export function followedLosses({ run, stays, sources }: RunAccount): FollowedLosses {
  const told = stays.flatMap((stay) => {
    const source = sources.get(stay.stream.name);
    const { followed } = stay.stream;
    return source === undefined || followed === undefined || followed.identifiedBy === null ? [] : [{ stay, source }];
  });
  const episodes = told.flatMap(({ stay, source }) => episodesOf(stay, source));
  return {
    episodes: episodes.toSorted((a, b) => a.fromNs - b.fromNs),
    minutes: told.flatMap(({ stay, source }) => minutesOf(stay, source, run.endNs)),
  };
}

function episodesOf({ join: { agent }, stream: { streamId }, numbers }: Stay, source: SourceAccount): Episode[] {
  const ranges = (numbers?.missing ?? []).map((run) => rangeOf(run, source));
  const seconds = groupBy(ranges, ({ fromNs }) => Math.floor(fromNs / SECOND_NS));
  return [...seconds].flatMap(([second, own]): Episode[] => {
    const [fromNs, toNs] = [second * SECOND_NS, (second + 1) * SECOND_NS];
    const hostLost = own.filter((range) => range.hostLost > 0);
    const count = sumOf(hostLost.map((range) => range.hostLost));
    const total = sumOf(own.map((range) => range.lost - range.hostLost));
    const losses = noteRanges(own, total, fromNs, toNs).map(
      (one): Episode => ({ kind: "loss", agent, streamId, ...one }),
    );
    return count === 0 ? losses : [...losses, { kind: "host-loss", agent, streamId, fromNs, toNs, count, detail: "" }];
  });
}

interface TimedRange extends LostRange {
  readonly fromNs: number;
  readonly toNs: number;
}

/** Where the listener has no time for a run, such as between two of its agent's lives, its numbers tell when it was sent. */
function rangeOf(
  { firstSeq, count, lost, hostLost, startNs, durationNs }: MissingRun,
  source: SourceAccount,
): TimedRange {
  const fromNs = startNs ?? source.sent.sentAt(firstSeq);
  const toNs = startNs === null || durationNs === null ? source.sent.sentAt(firstSeq + count) : startNs + durationNs;
  return { firstSeq, length: count, lost, hostLost, fromNs, toNs: Math.max(fromNs, toNs) };
}

function minutesOf(stay: Stay, source: SourceAccount, endNs: number): ReceivedMinute[] {
  const { agent } = stay.join;
  const { streamId } = stay.stream;
  return Array.from({ length: Math.ceil(endNs / MINUTE_NS) }, (_, minute) => minute).flatMap((minute) => {
    const piece = receivedPiece(stay, source, minute * MINUTE_NS, (minute + 1) * MINUTE_NS);
    return piece === null ? [] : [{ agent, streamId, minute, ...piece }];
  });
}

const sumOf = (values: readonly number[]): number => values.reduce((sum, one) => sum + one, 0);
