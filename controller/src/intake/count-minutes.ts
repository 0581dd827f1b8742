import type { ListenerInterval } from "@dyetrace/wire";
import type { MinuteCount, ReportBody } from "../store/pack/kept-report.ts";

export const MINUTE_NS = 60e9;

/**
 * What one report adds to the minute in which it begins; a merged one counts there as a whole. Of a stream of others nothing
 * is counted: what was lost of it shows by what all agents saw of it. Pure.
 */
export function countMinutes({ report }: ReportBody): readonly MinuteCount[] {
  const minute = Math.max(0, Math.floor(report.fromNs / MINUTE_NS));
  const counts = new Map<number, MinuteCount>();
  for (const { streamId, receipt, followed } of report.listeners) {
    if (receipt === null || followed !== undefined) continue;
    const before = counts.get(streamId);
    counts.set(streamId, {
      streamId,
      minute,
      received: (before?.received ?? 0) + receipt.firstCopies,
      lost: (before?.lost ?? 0) + networkLost(receipt),
      hostLost:
        before?.hostLost === null || receipt.hostLost === null ? null : (before?.hostLost ?? 0) + receipt.hostLost,
      duplicates: (before?.duplicates ?? 0) + receipt.duplicates,
      reordered: (before?.reordered ?? 0) + receipt.reordered,
      longestGapNs: Math.max(before?.longestGapNs ?? 0, receipt.longestGap?.durationNs ?? 0),
      longestSilenceNs: Math.max(before?.longestSilenceNs ?? 0, receipt.longestSilence?.durationNs ?? 0),
    });
  }
  return [...counts.values()];
}

type Receipt = NonNullable<ListenerInterval["receipt"]>;

/** Missing numbers less those that the host's own drops account for. */
export const networkLost = (receipt: Receipt): number => Math.max(0, receipt.lost - (receipt.hostLost ?? 0));
