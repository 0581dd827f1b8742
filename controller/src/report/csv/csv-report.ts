import { incidentName, type ReportReceipt, type RunReport } from "@dyetrace/wire";
import { type Cell, csv } from "./write-csv.ts";

/** One line for each stream and listener. */
export function csvOfReceipts(report: RunReport): string {
  const head = [
    "stream",
    "listener",
    "stays",
    "sent",
    "received",
    "lost",
    "loss_ratio",
    "host_lost",
    "duplicates",
    "reordered",
    "gaps",
    "longest_gap_ms",
    "jitter_ms",
    "join_delay_ms",
    "leave_delay_ms",
    "hops",
    "as_unicast_ratio",
    "foreign",
    "jitter_max_ms",
    "delay_variation_mean_ms",
    "delay_variation_p50_ms",
    "delay_variation_p99_ms",
    "delay_variation_p999_ms",
    "delay_variation_max_ms",
    "reorder_extent_mean",
    "reorder_extent_max",
    "reorder_late_max_ms",
    "duplicated_packets",
    "late_packets",
    "loss_periods",
    "longest_loss_period",
    "median_loss_distance",
    "noticeable_loss_ratio",
    "lost_before_first",
    "lost_after_last",
    "bursts",
    "mean_burst_packets",
    "burst_loss_ratio",
    "mean_gap_packets",
    "gap_loss_ratio",
    "delay_factor_max_ms",
    "media_loss_max_pps",
    "other_sender_packets",
    "sender_restarts",
    "unknown",
    "join_trials",
    "join_delay_p95_ms",
    "join_delay_max_ms",
    "leave_trials",
    "leave_delay_p95_ms",
    "leave_delay_max_ms",
    "leaves_without_effect",
    "leave_delay_at_least_ms",
  ];
  const rows = report.receipts.map((receipt): Cell[] => [
    receipt.stream,
    receipt.listener,
    receipt.stays,
    receipt.sent,
    receipt.received,
    receipt.lost,
    receipt.lossRatio,
    receipt.hostLost,
    receipt.duplicates,
    receipt.reordered,
    receipt.gaps.length,
    receipt.longestGapMs,
    receipt.jitterMs,
    receipt.joinDelayMs,
    receipt.leaveDelayMs,
    receipt.hops,
    receipt.asUnicastRatio,
    receipt.foreign,
    ...detailsOf(receipt),
  ]);
  return csv([head, ...rows]);
}

/** In the order of the last columns; what a report of an earlier version does not have is unknown. */
function detailsOf(receipt: ReportReceipt): Cell[] {
  const { delayVariation, reordering, lossPattern } = receipt;
  return [
    receipt.jitterMaxMs,
    delayVariation?.meanMs,
    delayVariation?.medianMs,
    delayVariation?.p99Ms,
    delayVariation?.p999Ms,
    delayVariation?.maxMs,
    reordering?.meanExtent,
    reordering?.maxExtent,
    reordering?.maxLateMs,
    receipt.duplicatedPackets,
    receipt.latePackets,
    lossPattern?.periods,
    lossPattern?.longestPeriod,
    lossPattern?.medianDistance,
    lossPattern?.noticeableRatio,
    lossPattern?.beforeFirst,
    lossPattern?.afterLast,
    lossPattern?.bursts,
    lossPattern?.meanBurstPackets,
    lossPattern?.burstLossRatio,
    lossPattern?.meanGapPackets,
    lossPattern?.gapLossRatio,
    receipt.delayFactorMaxMs,
    receipt.mediaLossMaxPps,
    receipt.otherSenderPackets,
    receipt.senderRestarts,
    receipt.unknown,
    receipt.joinDelays?.trials,
    receipt.joinDelays?.p95Ms,
    receipt.joinDelays?.maxMs,
    receipt.leaveDelays?.trials,
    receipt.leaveDelays?.p95Ms,
    receipt.leaveDelays?.maxMs,
    receipt.leavesWithoutEffect,
    receipt.leaveDelayAtLeastMs,
  ].map((cell) => cell ?? null);
}

/** One line for each gap, with its time of day. */
export function csvOfGaps(report: RunReport): string {
  const startedMs = Date.parse(report.startedAt);
  const rows = report.receipts.flatMap(({ stream, listener, gaps }) =>
    gaps.map(({ firstSeq, count, startMs, durationMs }): Cell[] => [
      stream,
      listener,
      firstSeq,
      count,
      startMs,
      durationMs,
      startMs === null ? null : new Date(startedMs + startMs).toISOString(),
    ]),
  );
  return csv([["stream", "listener", "first_seq", "count", "start_ms", "duration_ms", "started_at"], ...rows]);
}

/** One line for each incident of a long run; none of a short one, which has findings alone. */
export function csvOfIncidents({ incidents = [], startedAt, site }: RunReport): string {
  const isoOf = (atMs: number): string => new Date(Date.parse(startedAt) + atMs).toISOString();
  const rows = incidents.map((one): Cell[] => [
    isoOf(one.fromMs),
    isoOf(one.toMs),
    one.kind,
    one.streams.join(" "),
    one.agents.join(" "),
    one.count,
    one.suspects.join(" "),
    one.confidence ?? null,
    one.title,
    incidentName(one, site),
    (one.toMs - one.fromMs) / 1000,
    one.withoutMs === undefined ? null : one.withoutMs / 1000,
    one.isSteady === true ? "yes" : "no",
    one.times ?? 1,
  ]);
  const head = ["from", "to", "kind", "streams", "agents", "packets", "suspects", "confidence", "what"];
  return csv([[...head, "name", "length_s", "without_stream_s", "steady", "times"], ...rows]);
}
