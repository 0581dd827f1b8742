import { mergeHistograms } from "./log-histogram.ts";
import { boundCoarse, boundRanges } from "./lost-range-list.ts";
import { MERGED_RANGES, MERGED_SPANS, type Span, type StreamReceipt, type Stretch } from "./stream-receipt.ts";

/**
 * Two receipts of one stream and listener, `b` the later one, as one. Over any cutting of one reception the merge of all
 * receipts equals the receipt of one uncut tracker, as long as its lists stay within their bounds (`INTERVAL_RANGES`,
 * `MERGED_RANGES`, `MERGED_SPANS`); past those, lists turn coarse and all counts stay exact. Receipts of different
 * trackers (after a leave and a new join, or a restarted agent) merge too: their spans stay apart, and the numbers
 * between count neither as received nor as lost. Both must have the same time base.
 */
export function mergeReceipts(a: StreamReceipt, b: StreamReceipt): StreamReceipt {
  const spans = joinSpans(a.spans, b.spans, b.isFirst);
  return {
    isFirst: a.isFirst,
    isFinal: b.isFinal,
    received: a.received + b.received,
    receivedBytes: a.receivedBytes + b.receivedBytes,
    firstCopies: a.firstCopies + b.firstCopies,
    duplicates: a.duplicates + b.duplicates,
    duplicatedPackets: a.duplicatedPackets + b.duplicatedPackets,
    latePackets: a.latePackets + b.latePackets,
    reordered: a.reordered + b.reordered,
    reorderExtentSum: a.reorderExtentSum + b.reorderExtentSum,
    reorderExtentMax: Math.max(a.reorderExtentMax, b.reorderExtentMax),
    reorderLateMaxNs: Math.max(a.reorderLateMaxNs, b.reorderLateMaxNs),
    lost: a.lost + b.lost,
    hostDrops: sumKnown(a.hostDrops, b.hostDrops),
    hostLost: sumKnown(a.hostLost, b.hostLost),
    lossPeriods: a.lossPeriods + b.lossPeriods,
    longestLossPeriod: Math.max(a.longestLossPeriod, b.longestLossPeriod),
    longestGap: longer(a.longestGap, b.longestGap),
    longestSilence: longer(a.longestSilence, b.longestSilence),
    firstArrivalNs: a.firstArrivalNs ?? b.firstArrivalNs,
    lastArrivalNs: b.lastArrivalNs ?? a.lastArrivalNs,
    spans: spans.length > MERGED_SPANS ? spans.slice(0, MERGED_SPANS) : spans,
    spansOmitted: a.spansOmitted + b.spansOmitted + Math.max(0, spans.length - MERGED_SPANS),
    jitterNs: b.jitterNs ?? a.jitterNs,
    jitterMaxNs: greater(a.jitterMaxNs, b.jitterMaxNs),
    pdvNs: mergeHistograms(a.pdvNs, b.pdvNs),
    delayFactorMaxNs: greater(a.delayFactorMaxNs, b.delayFactorMaxNs),
    mediaLossMaxPps: greater(a.mediaLossMaxPps, b.mediaLossMaxPps),
    ttlMin: negate(greater(negate(a.ttlMin), negate(b.ttlMin))),
    ttlMax: greater(a.ttlMax, b.ttlMax),
    dscpSeen: sumByKey(a.dscpSeen, b.dscpSeen),
    senderRestarts: a.senderRestarts + b.senderRestarts,
    otherSenderPackets: a.otherSenderPackets + b.otherSenderPackets,
  };
}

/** `a` is within the bounds; what of `b` finds no room any more turns coarse. */
function joinSpans(a: readonly Span[], b: readonly Span[], isApart: boolean): readonly Span[] {
  const [after, ...others] = b;
  if (after === undefined) return a;
  let room = MERGED_RANGES - a.reduce((sum, span) => sum + span.lost.length, 0);
  const bound = (span: Span): Span => {
    const bounded = boundRanges(span, room);
    room -= bounded.lost.length;
    return bounded;
  };
  const before = a.at(-1);
  const isOne =
    before !== undefined && !isApart && before.senderId === after.senderId && before.endSeq === after.firstSeq;
  if (!isOne) return [...a, ...b.map(bound)];
  const { lost, coarse } = bound(after);
  const joined: Span = {
    senderId: after.senderId,
    firstSeq: before.firstSeq,
    endSeq: after.endSeq,
    lost: concat(before.lost, lost),
    coarse: boundCoarse(concat(before.coarse, coarse)),
  };
  return [...a.slice(0, -1), joined, ...others.map(bound)];
}

/** Without a copy where one is empty: most intervals of a long run have no loss. */
const concat = <T>(a: readonly T[], b: readonly T[]): readonly T[] =>
  b.length === 0 ? a : a.length === 0 ? b : a.concat(b);

/** Unknown in part is unknown. */
const sumKnown = (a: number | null, b: number | null): number | null => (a === null || b === null ? null : a + b);

const greater = (a: number | null, b: number | null): number | null =>
  a === null ? b : b === null ? a : Math.max(a, b);

const negate = (value: number | null): number | null => (value === null ? null : -value);

/** Of two equal ones the earlier. */
const longer = (a: Stretch | null, b: Stretch | null): Stretch | null =>
  a === null || (b !== null && b.durationNs > a.durationNs) ? b : a;

function sumByKey(
  a: readonly (readonly [number, number])[],
  b: readonly (readonly [number, number])[],
): readonly (readonly [number, number])[] {
  if (a.length === 0 || b.length === 0) return a.length === 0 ? b : a;
  const sums = new Map(a);
  for (const [key, count] of b) sums.set(key, (sums.get(key) ?? 0) + count);
  return [...sums].sort((left, right) => left[0] - right[0]);
}
