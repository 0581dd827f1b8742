import type { IntervalReport } from "@dyetrace/wire";

/** Where a host's sending ended before it was to. Instants count from the run's start. */
export interface SourceBreak {
  /** Null: its agent ended without a word, some time after `heardNs`. */
  readonly stoppedNs: number | null;
  /** In the agent's own words; null where it said none. */
  readonly why: string | null;
  /** Its last report that tells of sending ends here. */
  readonly heardNs: number;
  /** From when it sent again, its packets numbered from 0; null: it did not. */
  readonly againNs: number | null;
}

/** One report of a host, with the uninterrupted piece of work it belongs to. */
export interface SendingReport {
  readonly stint: string;
  readonly report: Pick<IntervalReport, "fromNs" | "toNs" | "senders" | "sourcesStopped">;
}

/** Every break in what a host sent, in order; from all its reports in order. Pure. */
export function sourceBreaks(reports: readonly SendingReport[]): readonly SourceBreak[] {
  const breaks: SourceBreak[] = [];
  let sending: { stint: string; heardNs: number } | null = null;
  let open: Omit<SourceBreak, "againNs"> | null = null;
  for (const { stint, report } of reports) {
    if (report.senders.some(({ sentPackets }) => sentPackets > 0)) {
      if (sending !== null && sending.stint !== stint) {
        const ended: Omit<SourceBreak, "againNs"> = open ?? { stoppedNs: null, why: null, heardNs: sending.heardNs };
        breaks.push({ ...ended, againNs: report.fromNs });
        open = null;
      }
      sending = { stint, heardNs: report.toNs };
    }
    const stop = report.sourcesStopped;
    if (stop === null || stop === undefined || stop.why === "as-planned") continue;
    if (sending?.stint !== stint || open !== null) continue;
    const { atNs, detail } = stop;
    open = { stoppedNs: atNs, why: detail === "" ? null : detail, heardNs: sending.heardNs };
  }
  if (open !== null) breaks.push({ ...open, againNs: null });
  return breaks;
}
