import { hasMembershipChange, mergeIntervalReports, mergeWatcherReports } from "@dyetrace/measure";
import type { IntervalReport } from "@dyetrace/wire";
import type { ReportMessage } from "./report-message.ts";

/** Reports follow each other without a break; this much is the rounding of their times. */
const BREAK_NS = 1e6;

/**
 * Two neighbouring reports of one stint as one, without losing a count, a gap or a maximum.
 * @param isQuietOnly only where nothing happened in either
 * @returns null where they must stay apart: the stretch would get longer than `stretchNs`, or a join or a leave falls
 *   into one of them, or one between them was dropped: it must show of what time nobody told
 */
export function mergeReportMessages(
  a: ReportMessage,
  b: ReportMessage,
  stretchNs: number,
  isQuietOnly: boolean,
): ReportMessage | null {
  if (b.report.toNs - a.report.fromNs > stretchNs) return null;
  if (b.report.fromNs - a.report.toNs > BREAK_NS) return null;
  if (hasMembershipChange(a.report) || hasMembershipChange(b.report)) return null;
  if (isQuietOnly && !(isQuiet(a.report) && isQuiet(b.report))) return null;
  return {
    kind: "report",
    runId: a.runId,
    stint: a.stint,
    firstNumber: a.firstNumber,
    lastNumber: b.lastNumber,
    droppedReports: a.droppedReports + b.droppedReports,
    report: mergeIntervalReports(a.report, b.report),
    watch: mergeWatcherReports(a.watch, b.watch),
    isFinal: b.isFinal,
  };
}

/** Nothing was lost, doubled, late or held up, in the network or in this host. */
const isQuiet = ({ listeners, senders, host, sourcesStopped }: IntervalReport): boolean =>
  listeners.every(
    ({ receipt }) =>
      receipt === null ||
      (receipt.lost === 0 && receipt.duplicates === 0 && receipt.reordered === 0 && receipt.senderRestarts === 0),
  ) &&
  senders.every(({ stalls, skippedPackets }) => stalls.length === 0 && skippedPackets === 0) &&
  (host.linkChanges ?? 0) === 0 &&
  (host.wallClockSteps ?? 0) === 0 &&
  sourcesStopped === null;
