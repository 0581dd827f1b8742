import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import { emissionOf, type Flow } from "./flow.ts";
import { isBystanders, type ToldStay, watchersOf } from "./told-stays.ts";

/** Packets that would have come each second, had it been sent: enough to tell silence from loss. */
const ASSUMED_PER_SECOND = 100;

/**
 * Nobody saw a packet of it. Whether it is sent cannot be known then; where it is, it stops before the first branching, and
 * that is what follows from assuming it. All that is said of such a stream says so.
 */
export function unseenFlow(run: CompiledRun, stream: CompiledStream, stays: readonly ToldStay[]): Flow {
  const seconds = Math.max(1, Math.floor(run.scenario.durationNs / 1e9));
  const isAwaited = stays.some((stay) => !isBystanders(stay));
  const progress = Array.from({ length: seconds }, (_, second) => ({
    atNs: (second + 1) * 1e9,
    lastSeq: (second + 1) * ASSUMED_PER_SECOND - 1,
  }));
  return {
    suffix: null,
    facts: {
      format: null,
      identifiedBy: null,
      ssrc: null,
      senders: [],
      comparedOneIn: 1,
      allBps: null,
      missingToAll: null,
      isUnseen: stays.length > 0,
      watchers: watchersOf(stays),
    },
    // Where nobody had joined, nothing was to come.
    emission: isAwaited ? emissionOf(progress, 0, 0, null) : null,
    receiptOf: ({ receipt }) => receipt,
    payloadBytes: stream.payloadBytes,
    packetsPerSecond: ASSUMED_PER_SECOND,
  };
}
