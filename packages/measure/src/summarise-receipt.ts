import { type HistogramData, percentile } from "./log-histogram.ts";
import type { StreamReceipt } from "./stream-receipt.ts";

/** A distribution in milliseconds. */
export interface Spread {
  readonly meanMs: number;
  readonly p50Ms: number;
  readonly p99Ms: number;
  readonly p999Ms: number;
  readonly maxMs: number;
}

/** What the packets that came say, beside their number. Unknown is null. */
export interface ReceiptSummary {
  /** RFC 5560: copies per distinct packet, and share of packets with a copy. */
  readonly duplicateRatio: number | null;
  readonly replicatedRatio: number | null;
  /** RFC 4737; extent and late time are null where nothing came out of order. */
  readonly reorderedRatio: number | null;
  readonly reorderExtentMax: number | null;
  readonly reorderExtentMean: number | null;
  readonly reorderLateMaxMs: number | null;
  /** RFC 3550. */
  readonly jitterMs: number | null;
  readonly jitterMaxMs: number | null;
  /** RFC 5481, section 4.2. */
  readonly pdv: Spread | null;
  /** RFC 4445. */
  readonly delayFactorMaxMs: number | null;
  readonly mediaLossMaxPps: number | null;
}

const MS = 1e6;

/** @param receipt merged over a whole reception */
export function summariseReceipt(receipt: StreamReceipt): ReceiptSummary {
  const ofFirstCopies = (count: number): number | null =>
    receipt.firstCopies === 0 ? null : count / receipt.firstCopies;
  const isReordered = receipt.reordered > 0;
  return {
    duplicateRatio: ofFirstCopies(receipt.duplicates),
    replicatedRatio: ofFirstCopies(receipt.duplicatedPackets),
    reorderedRatio: ofFirstCopies(receipt.reordered),
    reorderExtentMax: isReordered ? receipt.reorderExtentMax : null,
    reorderExtentMean: isReordered ? receipt.reorderExtentSum / receipt.reordered : null,
    reorderLateMaxMs: isReordered ? receipt.reorderLateMaxNs / MS : null,
    jitterMs: toMs(receipt.jitterNs),
    jitterMaxMs: toMs(receipt.jitterMaxNs),
    pdv: spreadOf(receipt.pdvNs),
    delayFactorMaxMs: toMs(receipt.delayFactorMaxNs),
    mediaLossMaxPps: receipt.mediaLossMaxPps,
  };
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
