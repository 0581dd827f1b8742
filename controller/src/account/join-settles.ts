import type { SentCount } from "./sent-count.ts";

/** A join this long before the next packet is sent counts as "there from the start": a report takes a few ms. */
const JOIN_AHEAD_NS = 200e6;
/** A join may take this long where its first report is lost: it is repeated within 1 s (RFC 3376 8.11). */
const JOIN_WITHIN_NS = 2e9;

/** The number from which on a listener must have the stream, even if the first report of its join is lost. */
export function latestFirstNumber(joinRequestedNs: number, sent: SentCount): number {
  const isAhead = sent.isPause(joinRequestedNs, joinRequestedNs + JOIN_AHEAD_NS);
  return isAhead ? sent.nextAt(joinRequestedNs) : sent.nextAt(joinRequestedNs + JOIN_WITHIN_NS) + 1;
}
