import { mergeReceipts } from "./merge-receipts.ts";
import type { LostRange, Span, StreamReceipt } from "./stream-receipt.ts";

/** What is known of the source beside what the listener saw. */
export interface SourceAccount {
  /**
   * How many packets the source had sent (its numbers run from 0) when this listener stopped expecting them: at the
   * source's stop, or at the leave if that came first. Of the last sender, if it restarted. Null if unknown.
   */
  readonly sentPackets: number | null;
  /**
   * The first number that this listener had to receive: 0 if its membership stood before the source began, else the
   * source's count at the join and what it sends until a join takes effect. Null if unknown: then nothing below the first
   * number received is expected.
   */
  readonly firstExpectedSeq: number | null;
  /** Nominal time between packets, for the duration of a gap at an end. Null if unknown. */
  readonly intervalNs: number | null;
}

/** A receipt with the loss at its ends, which is in its spans and counts. */
export interface SettledReceipt extends StreamReceipt {
  /**
   * Part of `lost`: numbers below the first received and above the last. Null where the source's account does not tell. If
   * nothing was received, all that was sent is tail.
   */
  readonly headLost: number | null;
  readonly tailLost: number | null;
}

/** As `mergeReceipts`: two receptions, each settled by its own account. */
export function mergeSettled(a: SettledReceipt, b: SettledReceipt): SettledReceipt {
  const headLost = sumKnown(a.headLost, b.headLost);
  return { ...mergeReceipts(a, b), headLost, tailLost: sumKnown(a.tailLost, b.tailLost) };
}

/** Unknown in part is unknown. */
const sumKnown = (a: number | null, b: number | null): number | null => (a === null || b === null ? null : a + b);

/**
 * Adds the loss at the two ends of one reception (one tracker's receipts, merged): the numbers that the source sent below
 * the first one received and above the last. They join the receipt's spans and counts as if the tracker had seen them.
 * A gap at an end lasts, as far as anybody can tell, as long as its packets would have taken. The tail is settled only
 * in a final receipt, since before that packets may be on their way. What the account leaves unknown is left out.
 */
export function settleEnds(receipt: StreamReceipt, source: SourceAccount): SettledReceipt {
  if (receipt.received === 0) return settleSilence(receipt, source);
  const { firstExpectedSeq, sentPackets, intervalNs } = source;
  let settled: SettledReceipt = { ...receipt, headLost: null, tailLost: null };
  const first = receipt.spans[0];
  if (first !== undefined && firstExpectedSeq !== null) {
    const headLost = Math.max(0, first.firstSeq - firstExpectedSeq);
    const durationNs = intervalNs === null ? null : headLost * intervalNs;
    const startNs = durationNs === null || receipt.firstArrivalNs === null ? null : receipt.firstArrivalNs - durationNs;
    const head = endSpan(first.senderId, firstExpectedSeq, headLost, startNs, durationNs);
    settled = { ...addEnd(settled, head, [join(head, first), ...settled.spans.slice(1)]), headLost };
  }
  const last = settled.spans.at(-1);
  const isTailOpen = receipt.isFinal && receipt.spansOmitted === 0;
  if (last !== undefined && sentPackets !== null && isTailOpen) {
    const tailLost = Math.max(0, sentPackets - last.endSeq);
    const durationNs = intervalNs === null ? null : tailLost * intervalNs;
    const tail = endSpan(last.senderId, last.endSeq, tailLost, receipt.lastArrivalNs, durationNs);
    settled = { ...addEnd(settled, tail, [...settled.spans.slice(0, -1), join(last, tail)]), tailLost };
  }
  return settled;
}

/** Not one packet: all that was sent is lost, if it is known what that was. */
function settleSilence(receipt: StreamReceipt, source: SourceAccount): SettledReceipt {
  const { firstExpectedSeq, sentPackets, intervalNs } = source;
  const isOpen = receipt.isFinal && receipt.spans.length === 0;
  const unsettled: SettledReceipt = { ...receipt, headLost: null, tailLost: null };
  if (!isOpen || firstExpectedSeq === null || sentPackets === null) return unsettled;
  const count = Math.max(0, sentPackets - firstExpectedSeq);
  const span = endSpan(null, firstExpectedSeq, count, null, intervalNs === null ? null : count * intervalNs);
  return { ...addEnd(unsettled, span, [span]), headLost: 0, tailLost: count };
}

/** A span in which everything is lost. */
function endSpan(
  senderId: number | null,
  firstSeq: number,
  count: number,
  startNs: number | null,
  durationNs: number | null,
): Span {
  const range: LostRange = [firstSeq, count, startNs, durationNs, 0];
  return { senderId, firstSeq, endSeq: firstSeq + count, lost: count === 0 ? [] : [range], coarse: [] };
}

/** Two spans that touch; no range touches another, as a received number lies between. */
const join = (a: Span, b: Span): Span => ({
  senderId: a.senderId,
  firstSeq: a.endSeq === a.firstSeq ? b.firstSeq : a.firstSeq,
  endSeq: b.endSeq,
  lost: [...a.lost, ...b.lost],
  coarse: [...a.coarse, ...b.coarse],
});

function addEnd(receipt: SettledReceipt, end: Span, spans: readonly Span[]): SettledReceipt {
  const [range] = end.lost;
  if (range === undefined) return receipt;
  const [, count, startNs, durationNs] = range;
  const isLongest = durationNs !== null && durationNs > (receipt.longestGap?.durationNs ?? -1);
  return {
    ...receipt,
    lost: receipt.lost + count,
    lossPeriods: receipt.lossPeriods + 1,
    longestLossPeriod: Math.max(receipt.longestLossPeriod, count),
    longestGap: isLongest ? { startNs, durationNs } : receipt.longestGap,
    spans,
  };
}
