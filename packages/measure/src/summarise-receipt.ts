import { type BurstGapSummary, summariseBurstGaps } from "./burst-gap.ts";
import { type HistogramData, percentile } from "./log-histogram.ts";
import { interLossPeriodLengths, noticeableLossRate } from "./loss-pattern.ts";
import type { SettledReceipt } from "./settle-ends.ts";
import type { LostRange, Span } from "./stream-receipt.ts";

export interface Gap {
  readonly firstSeq: number;
  readonly count: number;
  /** On the receipt's time base; null if unknown. At the ends of a reception an estimate, see `settleEnds`. */
  readonly startMs: number | null;
  readonly durationMs: number | null;
}

/** A distribution in milliseconds; null if nothing was measured. */
export interface Spread {
  readonly meanMs: number;
  readonly p50Ms: number;
  readonly p99Ms: number;
  readonly p999Ms: number;
  readonly maxMs: number;
}

/** What a reception comes down to. Counts are packets, unknown is null. */
export interface ReceiptSummary {
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
  /** RFC 5560: copies per distinct packet, and share of packets with a copy. */
  readonly duplicateRatio: number | null;
  readonly replicatedRatio: number | null;
  /** RFC 4737; extent and late time are null where nothing came out of order. */
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
  /** RFC 3357. The last two are null where ranges are no longer known one by one, or nothing can be said. */
  readonly lossPeriods: number | null;
  readonly longestLossPeriod: number | null;
  /** Numbers from the last loss of one period to the first of the next: the middle one of all such distances. */
  readonly medianLossDistance: number | null;
  /** With delta 99: losses within 99 packets of another. */
  readonly noticeableLossRatio: number | null;
  /** Null where ranges are no longer known one by one. */
  readonly burstGap: BurstGapSummary | null;

  readonly jitterMs: number | null;
  readonly jitterMaxMs: number | null;
  readonly pdv: Spread | null;
  readonly delayFactorMaxMs: number | null;
  readonly mediaLossMaxPps: number | null;
  readonly longestSilenceMs: number | null;
}

/** Gaps that a summary lists. */
const MAX_GAPS = 1000;
const NOTICEABLE_DELTA = 99;
const MS = 1e6;

/**
 * The summary of a merged receipt. Loss at the two ends, which no listener can see by itself, comes from the source's
 * account (`settleEnds`). Host loss: each second's socket drops account for at most the numbers that went missing in it or
 * the next (`HostDropCredit`); that part is taken off the loss, since those packets did cross the network.
 */
export function summariseReceipt(receipt: SettledReceipt): ReceiptSummary {
  const { firstCopies, spans } = receipt;
  const expected = spans.length === 0 ? null : spans.reduce((sum, span) => sum + span.endSeq - span.firstSeq, 0);
  const lost = expected === null ? null : receipt.lost - (receipt.hostLost ?? 0);
  const ofFirstCopies = (count: number): number | null => (firstCopies === 0 ? null : count / firstCopies);
  const isReordered = receipt.reordered > 0;
  return {
    expected,
    lost,
    lossRatio: lost === null || expected === null || expected === 0 ? null : lost / expected,
    hostLost: firstCopies === 0 ? null : receipt.hostLost, // the count rides on received packets
    headLost: receipt.headLost,
    tailLost: receipt.tailLost,
    duplicateRatio: ofFirstCopies(receipt.duplicates),
    replicatedRatio: ofFirstCopies(receipt.duplicatedPackets),
    reorderedRatio: ofFirstCopies(receipt.reordered),
    reorderExtentMax: isReordered ? receipt.reorderExtentMax : null,
    reorderExtentMean: isReordered ? receipt.reorderExtentSum / receipt.reordered : null,
    reorderLateMaxMs: isReordered ? receipt.reorderLateMaxNs / MS : null,
    ...describeGaps(receipt),
    ...describePattern(receipt),
    jitterMs: toMs(receipt.jitterNs),
    jitterMaxMs: toMs(receipt.jitterMaxNs),
    pdv: spreadOf(receipt.pdvNs),
    delayFactorMaxMs: toMs(receipt.delayFactorMaxNs),
    mediaLossMaxPps: receipt.mediaLossMaxPps,
    longestSilenceMs: toMs(receipt.longestSilence?.durationNs ?? null),
  };
}

type Gaps = Pick<ReceiptSummary, "gaps" | "gapsOmitted" | "longestGapMs" | "lossPeriods" | "longestLossPeriod">;

function describeGaps(receipt: SettledReceipt): Gaps {
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

type Pattern = Pick<ReceiptSummary, "burstGap" | "noticeableLossRatio" | "medianLossDistance">;

function describePattern({ spans, spansOmitted }: SettledReceipt): Pattern {
  const isListed = spans.length > 0 && spansOmitted === 0 && spans.every((span) => span.coarse.length === 0);
  const [span] = isListed && spans.length === 1 ? spans : [];
  return {
    burstGap: isListed ? summariseBurstGaps(spans) : null,
    noticeableLossRatio: span === undefined ? null : noticeableLossRate(span.lost, NOTICEABLE_DELTA),
    medianLossDistance: isListed ? medianDistance(spans) : null,
  };
}

function medianDistance(spans: readonly Span[]): number | null {
  const distances = spans.flatMap((span) => interLossPeriodLengths(span.lost).slice(1)).sort((a, b) => a - b);
  return distances[Math.floor((distances.length - 1) / 2)] ?? null;
}

function spreadOf(data: HistogramData): Spread | null {
  if (data.max === null) return null;
  const at = (ratio: number): number => (percentile(data, ratio) ?? 0) / MS;
  return {
    meanMs: data.sum / data.count / MS,
    p50Ms: at(0.5),
    p99Ms: at(0.99),
    p999Ms: at(0.999),
    maxMs: data.max / MS,
  };
}

const toMs = (durationNs: number | null): number | null => (durationNs === null ? null : durationNs / MS);
