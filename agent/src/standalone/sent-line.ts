import { formatCount, formatDurationNs, formatRateBps, type IntervalReport, type SenderInterval } from "@dyetrace/wire";

export interface SentLine extends SenderInterval {
  readonly fromNs: number;
  readonly toNs: number;
  /** UDP payload really sent in this interval. */
  readonly sentRateBps: number;
}

/** What the one source of a report did in its interval. @throws {Error} on a report without a source */
export function sentLine(report: IntervalReport): SentLine {
  const sender = report.senders[0];
  if (sender === undefined) throw new Error("This report has no source");
  const seconds = Math.max(report.toNs - report.fromNs, 1) / 1e9;
  return { fromNs: report.fromNs, toNs: report.toNs, sentRateBps: (sender.sentBytes * 8) / seconds, ...sender };
}

/** One line for a terminal. */
export function describeSent(report: IntervalReport): string {
  const line = sentLine(report);
  const { enobufs, eagain, other } = line.sendErrors;
  const late =
    line.pacing === null
      ? ""
      : `  late p99 ${formatDurationNs(line.pacing.p99Ns)}, most ${formatDurationNs(line.pacing.maxNs)}`;
  const errors = enobufs + eagain + other === 0 ? "" : `  send errors ${enobufs + eagain + other}`;
  const skipped = line.skippedPackets === 0 ? "" : `  skipped ${line.skippedPackets}`;
  const at = `${(line.toNs / 1e9).toFixed(0).padStart(4)} s`;
  return `${at}  ${formatRateBps(line.sentRateBps)}  ${formatCount(line.sentPackets)} packets${late}${skipped}${errors}`;
}
