import type { RunReport } from "@dyetrace/wire";
import { stringify } from "csv-stringify/sync";

/** Unknown is an empty field, never 0. */
type Cell = string | number | null;

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
  ]);
  return csv([head, ...rows]);
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

/** RFC 4180, section 2. A text that a spreadsheet would take for a formula gets an apostrophe before it. */
const csv = (rows: readonly (readonly Cell[])[]): string =>
  stringify([...rows], {
    record_delimiter: "windows",
    escape_formulas: true,
    quoted_match: /[\r\n]/, // with that delimiter a lone one would stand bare
  });
