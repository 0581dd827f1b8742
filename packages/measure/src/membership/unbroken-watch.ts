import type { WatcherReport } from "@dyetrace/wire";

/**
 * Since when a watcher has seen its interface without a break, over all its reports of a run.
 * @returns ns after the run's start instant; null without reports, or when the interface was down at some time: what
 * was seen is then not the whole, and silence proves nothing
 */
export function unbrokenWatchNs(reports: readonly WatcherReport[]): number | null {
  const sinceNs = reports[0]?.sinceNs ?? null;
  // a break that began and ended between two reports shows as a later beginning
  return reports.every((report) => report.sinceNs === sinceNs) ? sinceNs : null;
}
