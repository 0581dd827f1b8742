import { hasMembershipChange, mergeIntervalReports, mergeWatcherReports } from "@dyetrace/measure";
import type { ReportBody } from "../store/kept-report.ts";

/**
 * Two neighbouring reports as one, without losing a gap, a maximum or a total.
 * @returns null where a join or a leave falls into one of them: what came before and after it must stay apart
 */
export function joinBodies(a: ReportBody, b: ReportBody): ReportBody | null {
  if (hasMembershipChange(a.report) || hasMembershipChange(b.report)) return null;
  return { report: mergeIntervalReports(a.report, b.report), watch: mergeWatcherReports(a.watch, b.watch) };
}
