import { hasMembershipChange, mergeIntervalReports, mergeWatcherReports } from "@dyetrace/measure";
import type { ReportBody } from "../store/pack/kept-report.ts";

/** Reports follow each other without a break; this much is the rounding of their times. */
const BREAK_NS = 1e6;

/**
 * Two neighbouring reports as one, without losing a gap, a maximum or a total.
 * @returns null where a join or a leave falls into one of them: what came before and after it must stay apart; and where
 *   a report between them is missing, so that it shows of what time nobody told
 */
export function joinBodies(a: ReportBody, b: ReportBody): ReportBody | null {
  if (b.report.fromNs - a.report.toNs > BREAK_NS) return null;
  if (hasMembershipChange(a.report) || hasMembershipChange(b.report)) return null;
  return { report: mergeIntervalReports(a.report, b.report), watch: mergeWatcherReports(a.watch, b.watch) };
}
