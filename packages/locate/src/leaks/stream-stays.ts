import { mergeSequenceRanges } from "@dyetrace/measure";
import type { ListenerObservation, SeqRange } from "../run/run-observations.ts";
import { firstSeqSince } from "../run/send-time.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** A join or a leave takes this long to take effect (RFC 3376, sections 8.11 and 8.8: 1 s between reports, 2 s until a leave). */
export const SETTLING_MS = 2_000;

/** What a stream's listeners say of times, worked out once for all who watched the stream. */
export interface StreamStays {
  /** Ascending. */
  readonly leavesMs: readonly number[];
  /** Null where somebody stayed to the end, or nobody joined. */
  readonly lastLeaveMs: number | null;
  /** By the number of the host's node. */
  readonly leavesOf: ReadonlyMap<number, readonly number[]>;
  /** Numbers that some listener surely missed. */
  readonly missed: () => readonly SeqRange[];
  /**
   * Numbers that were sent while some host was a member of the group, by whichever stream, and its join must have been in
   * effect; null where no host ever joined the group.
   */
  readonly memberNumbers: readonly SeqRange[] | null;
  /** Numbers that were sent from some host's join on until its leave must have been in effect; null as above. */
  readonly askedNumbers: readonly SeqRange[] | null;
}

/** @param ofGroup stays in the stream's group, by whichever stream */
export function streamStays(facts: StreamFacts, ofGroup: readonly ListenerObservation[]): StreamStays {
  const leavesMs: number[] = [];
  const leavesOf = new Map<number, number[]>();
  for (const { node, listener } of facts.receipts) {
    if (listener.joinedToMs === null) continue;
    leavesMs.push(listener.joinedToMs);
    const own = leavesOf.get(node);
    if (own === undefined) leavesOf.set(node, [listener.joinedToMs]);
    else own.push(listener.joinedToMs);
  }
  leavesMs.sort((a, b) => a - b);
  const haveAllLeft = leavesMs.length > 0 && leavesMs.length === facts.receipts.length;
  let missed: readonly SeqRange[] | null = null;
  return {
    leavesMs,
    lastLeaveMs: haveAllLeft ? (leavesMs.at(-1) ?? null) : null,
    leavesOf,
    missed: () => {
      missed ??= mergeSequenceRanges(facts.receipts.flatMap(({ lost }) => lost));
      return missed;
    },
    memberNumbers: numbersDuring(facts, ofGroup, inEffect),
    askedNumbers: numbersDuring(facts, ofGroup, asked),
  };
}

/** All stays of the streams' listeners, by group, whether they reported or not. */
export function staysByGroup(streams: readonly StreamFacts[]): ReadonlyMap<string, readonly ListenerObservation[]> {
  const stays = new Map<string, ListenerObservation[]>();
  for (const { stream, receipts, missing } of streams) {
    const own = stays.get(stream.group) ?? [];
    stays.set(stream.group, own);
    for (const { listener } of receipts) own.push(listener);
    for (const listener of missing) own.push(listener);
  }
  return stays;
}

function numbersDuring(
  { stream, clockMs }: StreamFacts,
  ofGroup: readonly ListenerObservation[],
  during: (stay: ListenerObservation, offMs: number) => Effect,
): readonly SeqRange[] | null {
  if (ofGroup.length === 0) return null;
  const last = stream.steps.at(-1)?.lastSeq;
  // Of a stream that nobody knows the times of, any number may have been sent while there was a member.
  if (last === undefined) return [[0, Number.MAX_SAFE_INTEGER]];
  const offMs = Number.isFinite(clockMs) ? clockMs : 0;
  const ranges: SeqRange[] = [];
  for (const { fromMs, toMs } of united(ofGroup.map((stay) => during(stay, offMs)))) {
    const firstSeq = firstSeqSince(stream, fromMs);
    const nextSeq = toMs === Number.POSITIVE_INFINITY ? null : firstSeqSince(stream, toMs);
    if (firstSeq === null) continue;
    const lastSeq = nextSeq === null ? Number.MAX_SAFE_INTEGER : nextSeq - 1;
    if (lastSeq >= firstSeq) ranges.push([firstSeq, lastSeq]);
  }
  return mergeSequenceRanges(ranges);
}

interface Effect {
  readonly fromMs: number;
  readonly toMs: number;
}

const inEffect = ({ joinedFromMs, joinedToMs }: ListenerObservation, offMs: number): Effect => ({
  fromMs: joinedFromMs + SETTLING_MS + offMs,
  toMs: joinedToMs === null ? Number.POSITIVE_INFINITY : joinedToMs - offMs,
});

const asked = ({ joinedFromMs, joinedToMs }: ListenerObservation, offMs: number): Effect => ({
  fromMs: joinedFromMs - offMs,
  toMs: joinedToMs === null ? Number.POSITIVE_INFINITY : joinedToMs + 2 * SETTLING_MS + offMs,
});

function united(effects: readonly Effect[]): Effect[] {
  const all: Effect[] = [];
  for (const effect of effects.toSorted((a, b) => a.fromMs - b.fromMs)) {
    if (effect.toMs <= effect.fromMs) continue;
    const open = all.at(-1);
    if (open === undefined || open.toMs < effect.fromMs) all.push(effect);
    else if (effect.toMs > open.toMs) all[all.length - 1] = { fromMs: open.fromMs, toMs: effect.toMs };
  }
  return all;
}
