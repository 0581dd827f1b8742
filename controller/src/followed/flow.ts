import type { StreamReceipt } from "@dyetrace/measure";
import type { Emission } from "../account/emissions.ts";
import type { FollowedFacts } from "../plan/compiled-run.ts";
import type { ToldPart } from "./told-stays.ts";

/** One stream that was found at a group and port, with one row of numbers for all who followed it. */
export interface Flow {
  /** Null: the first of its stream, which keeps the name. */
  readonly suffix: string | null;
  readonly facts: FollowedFacts;
  /** Null: its packets can't be told apart, or nobody saw one. */
  readonly emission: Emission | null;
  /** For each part that an agent told, what it received by those numbers. */
  readonly receiptOf: (part: ToldPart) => StreamReceipt;
  readonly payloadBytes: number;
  readonly packetsPerSecond: number;
}

/** When a flow's numbers had come how far: each instant with the number that was last then. */
export interface Progress {
  readonly atNs: number;
  readonly lastSeq: number;
}

const INTERVAL_NS = 1e9;

/**
 * What a source would have told of its sending, from what was seen of it: the numbers up to the end of each second.
 * @param progress in any order @param firstSeq the first number that anybody had
 */
export function emissionOf(
  progress: readonly Progress[],
  firstSeq: number,
  fromNs: number,
  sentBytes: number | null,
): Emission | null {
  const upTo = new Map<number, number>();
  for (const { atNs, lastSeq } of progress) {
    const second = Math.max(0, Math.ceil(atNs / INTERVAL_NS));
    upTo.set(second, Math.max(upTo.get(second) ?? -1, lastSeq));
  }
  const intervals: Emission["intervals"][number][] = [];
  let next = firstSeq;
  let startNs = fromNs;
  for (const [second, lastSeq] of [...upTo].sort((a, b) => a[0] - b[0])) {
    if (lastSeq < next) continue;
    const toNs = second * INTERVAL_NS;
    intervals.push({ fromNs: Math.min(startNs, toNs), toNs, firstSeq: next, lastSeq });
    next = lastSeq + 1;
    startNs = toNs;
  }
  if (next === firstSeq) return null;
  return {
    senderId: FLOW_SENDER,
    senderIds: new Set([FLOW_SENDER]),
    sentPackets: next - firstSeq,
    sentBytes,
    firstSeq,
    lastSeq: next - 1,
    sendErrors: 0,
    lastError: null,
    skippedPackets: 0,
    pacing: null,
    stalls: [],
    intervals,
    stoppedNs: null,
  };
}

/** Whoever sends it, the numbers of a flow are one row. */
export const FLOW_SENDER = 0;
