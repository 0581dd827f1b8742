import type { ReceiptPair } from "./pair-receipts.ts";
import { type Pooled, poolReceipts, SEQ_ROOM, TIME_ROOM_MS } from "./pool-receipts.ts";

/** What both runs measured at one listener, of all its streams together. */
export type ListenerPair = Omit<ReceiptPair, "stream">;

/**
 * All streams of a listener as one, for each that has several: a small part of each says little, and what the way to it does
 * to one packet it does to those of the others. A stream of which either run does not know the loss is left out.
 * @param partOf which part of several that were measured one after the other a stream belongs to
 */
export function poolStreams(
  pairs: readonly ReceiptPair[],
  partOf: (stream: string) => number = () => 0,
): readonly ListenerPair[] {
  const known = pairs.filter(({ before, after }) => before.lost !== null && after.lost !== null);
  const streams = [...new Set(known.map(({ stream }) => stream))];
  const put = (pair: ReceiptPair, which: "before" | "after"): Pooled => ({
    receipt: pair[which],
    fromSeq: streams.indexOf(pair.stream) * SEQ_ROOM,
    fromMs: partOf(pair.stream) * TIME_ROOM_MS,
  });
  return [...new Set(known.map(({ listener }) => listener))].flatMap((listener) => {
    const own = known.filter((pair) => pair.listener === listener);
    if (own.length < 2) return [];
    const pool = (which: "before" | "after") => poolReceipts(own.map((pair) => put(pair, which)));
    return [{ listener, before: pool("before"), after: pool("after") }];
  });
}
