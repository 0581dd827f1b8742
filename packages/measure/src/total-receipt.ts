import { type BurstGapSummary, summariseBurstGaps } from "./burst-gap.ts";
import { type HistogramData, percentile } from "./log-histogram.ts";
import { noticeableLossRate } from "./loss-pattern.ts";
import { type SourceAccount, settleEnds } from "./settle-ends.ts";
import type { LostRange, Span, StreamReceipt } from "./stream-receipt.ts";

export interface Gap {
  readonly firstSeq: number;
  readonly count: number;
  /** On the receipt's time base; null if unknown. At the ends of a reception an estimate, see `settleEnds`. */
  readonly startMs: number | null;
  readonly durationMs: number | null;
}

/** A distribution in milliseconds; null if nothing was measured. */
export interface Spread {
  readonly minMs: number;
  readonly p50Ms: number;
  readonly p99Ms: number;
  readonly p999Ms: number;
  readonly maxMs: number;
}

/** What goes into the report. Counts are packets, unknown is null. */
export interface ReceiptSummary {
  readonly sent: number | null;
  /** Distinct packets received in time. */
  readonly received: number;
  /** Numbers whose fate is known and that had to arrive: received, lost in the network or in the host. */
  readonly expected: number | null;
  /** Lost in the network: missing less `hostLost`. If the platform does not tell of host drops, host loss included. */
  readonly lost: number | null;
  readonly lossRatio: number | null;
  /** Missing numbers that this host's own drops account for. */
  readonly hostLost: number | null;
  /** Parts of the missing numbers: before the first packet received, and after the last. */
  readonly headLost: number | null;
  readonly tailLost: number | null;
  readonly latePackets: number;
  readonly duplicates: number;
  /** RFC 5560: copies per distinct packet, and share of packets with a copy. */
  readonly duplicateRatio: number | null;
  readonly replicatedRatio: number | null;
  readonly reordered: number;
  readonly reorderedRatio: number | null;
  readonly reorderExtentMax: number | null;
  readonly reorderExtentMean: number | null;
  readonly reorderLateMaxMs: number | null;

  /** The gaps with the most numbers, `MAX_GAPS` at most, in order. */
  readonly gaps: readonly Gap[];
  /** Gaps that are not in `gaps`: too many, or no longer known one by one. */
  readonly gapsOmitted: number;
  /** 0 if there are no gaps; null if the time of one is unknown. */
  readonly longestGapMs: number | null;
  readonly lossPeriods: number | null;
  readonly longestLossPeriod: number | null;
  /** RFC 3357 with delta 99: losses within 99 packets of another. Null too where ranges are no longer known one by one. */
  readonly noticeableLossRatio: number | null;
  readonly burstGap: BurstGapSummary | null;

  readonly jitterMs: number | null;
  readonly jitterMaxMs: number | null;
  readonly pdv: Spread | null;
  readonly ipdv: Spread | null;
  readonly delayFactorMs: number | null;
  readonly delayFactorMaxMs: number | null;
  readonly mediaLossMaxPps: number | null;

  readonly longestSilenceMs: number | null;
  readonly longestSilenceStartMs: number | null;
  readonly firstArrivalMs: number | null;
  readonly lastArrivalMs: number | null;
  readonly receivedBytes: number;
  /** Routers passed: null if unknown or if it changed (see `ttlMin`, `ttlMax`). */
  readonly hops: number | null;
  readonly ttlMin: number | null;
  readonly ttlMax: number | null;
  readonly dscpSeen: readonly number[];
  readonly asUnicastRatio: number | null;
  readonly senderRestarts: number;
  readonly otherSenderPackets: number;
  readonly foreignPackets: number;
  readonly malformedPackets: number;
  readonly truncatedPackets: number;
}

/** Gaps that a summary lists. */
export const MAX_GAPS = 1000;
const NOTICEABLE_DELTA = 99;
const MS = 1e6;

/**
 * The summary of a merged receipt. Loss at the two ends, which no listener can see by itself, comes from the source's
 * account, unless `settleEnds` has added it already. Host loss: each second's socket drops account for at most the numbers
 * that went missing in it or the next (`HostDropCredit`); that part is taken off the loss, since those packets did cross
 * the network.
 */
export function totalReceipt(receipt: StreamReceipt, source: SourceAccount): ReceiptSummary {
  const settled = settleEnds(receipt, source);
  const { firstCopies, spans } = settled;
  const expected = spans.length === 0 ? null : spans.reduce((sum, span) => sum + span.endSeq - span.firstSeq, 0);
  const lost = expected === null ? null : settled.lost - (settled.hostLost ?? 0);
  const ofFirstCopies = (count: number): number | null => (firstCopies === 0 ? null : count / firstCopies);
  const isReordered = settled.reordered > 0;
  return {
    sent: source.sentPackets,
    received: firstCopies,
    expected,
    lost,
    lossRatio: lost === null || expected === null ? null : lost / expected,
    hostLost: firstCopies === 0 ? null : settled.hostLost, // the count rides on received packets
    headLost: settled.headLost,
    tailLost: settled.tailLost,
    latePackets: settled.latePackets,
    duplicates: settled.duplicates,
    duplicateRatio: ofFirstCopies(settled.duplicates),
    replicatedRatio: ofFirstCopies(settled.duplicatedPackets),
    reordered: settled.reordered,
    reorderedRatio: ofFirstCopies(settled.reordered),
    reorderExtentMax: isReordered ? settled.reorderExtentMax : null,
    reorderExtentMean: isReordered ? settled.reorderExtentSum / settled.reordered : null,
    reorderLateMaxMs: isReordered ? settled.reorderLateMaxNs / MS : null,
    ...describeGaps(settled),
    noticeableLossRatio: noticeable(spans),
    burstGap: expected === null ? null : summariseBurstGaps(spans.map((span) => span.burstGap)),
    jitterMs: toMs(settled.jitterNs),
    jitterMaxMs: toMs(settled.jitterMaxNs),
    pdv: spreadOf(settled.pdvNs),
    ipdv: spreadOf(settled.ipdvNs),
    delayFactorMs: toMs(settled.delayFactor?.latestNs ?? null),
    delayFactorMaxMs: toMs(settled.delayFactor?.maxNs ?? null),
    mediaLossMaxPps: settled.mediaLossMaxPps,
    longestSilenceMs: toMs(settled.longestSilence?.durationNs ?? null),
    longestSilenceStartMs: toMs(settled.longestSilence?.startNs ?? null),
    firstArrivalMs: toMs(settled.firstArrivalNs),
    lastArrivalMs: toMs(settled.lastArrivalNs),
    receivedBytes: settled.receivedBytes,
    hops:
      source.sentTtl === null || settled.ttlMin === null || settled.ttlMin !== settled.ttlMax
        ? null
        : source.sentTtl - settled.ttlMin,
    ttlMin: settled.ttlMin,
    ttlMax: settled.ttlMax,
    dscpSeen: settled.dscpSeen.map(([dscp]) => dscp),
    asUnicastRatio: settled.knownFrames === 0 ? null : settled.unicastFrames / settled.knownFrames,
    senderRestarts: settled.senderRestarts,
    otherSenderPackets: settled.otherSenderPackets,
    foreignPackets: settled.foreignPackets,
    malformedPackets: settled.malformedPackets,
    truncatedPackets: settled.truncatedPackets,
  };
}

function describeGaps(
  receipt: StreamReceipt,
): Pick<ReceiptSummary, "gaps" | "gapsOmitted" | "longestGapMs" | "lossPeriods" | "longestLossPeriod"> {
  if (receipt.spans.length === 0) {
    return { gaps: [], gapsOmitted: 0, longestGapMs: null, lossPeriods: null, longestLossPeriod: null };
  }
  const ranges = receipt.spans.flatMap((span) => span.lost);
  const gaps = largest(ranges.map(gapOf));
  const isTimeKnown = ranges.every((range) => range[3] !== null);
  return {
    gaps,
    gapsOmitted: receipt.lossPeriods - gaps.length,
    longestGapMs: isTimeKnown ? (receipt.longestGap?.durationNs ?? 0) / MS : null,
    lossPeriods: receipt.lossPeriods,
    longestLossPeriod: receipt.longestLossPeriod,
  };
}

const gapOf = ([firstSeq, count, startNs, durationNs]: LostRange): Gap => ({
  firstSeq,
  count,
  startMs: toMs(startNs),
  durationMs: toMs(durationNs),
});

function largest(gaps: readonly Gap[]): readonly Gap[] {
  if (gaps.length <= MAX_GAPS) return gaps;
  const kept = new Set([...gaps].sort((a, b) => b.count - a.count).slice(0, MAX_GAPS));
  return gaps.filter((gap) => kept.has(gap));
}

function noticeable(spans: readonly Span[]): number | null {
  const [span] = spans;
  if (spans.length !== 1 || span === undefined || span.coarse.length > 0) return null;
  return noticeableLossRate(span.lost, NOTICEABLE_DELTA);
}

function spreadOf(data: HistogramData): Spread | null {
  const at = (ratio: number): number => (percentile(data, ratio) ?? 0) / MS;
  if (data.min === null || data.max === null) return null;
  return { minMs: data.min / MS, p50Ms: at(0.5), p99Ms: at(0.99), p999Ms: at(0.999), maxMs: data.max / MS };
}

const toMs = (durationNs: number | null): number | null => (durationNs === null ? null : durationNs / MS);
