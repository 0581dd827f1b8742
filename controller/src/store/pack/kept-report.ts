import type { IntervalReport, WatcherReport } from "@dyetrace/wire";

/** What is stored of one report, or of several that were merged. */
export interface ReportBody {
  readonly report: IntervalReport;
  readonly watch: WatcherReport | null;
}

/** One report on its way into the store, with what is worked out of it at the door. */
export interface KeptReport {
  readonly runId: string;
  readonly agent: string;
  readonly stint: string;
  /** Reports `firstNumber` to `lastNumber` of the stint; the agent merges while it has no controller. */
  readonly firstNumber: number;
  readonly lastNumber: number;
  /** Right before them, reports that the agent's spool had to drop. */
  readonly droppedReports: number;
  /** The one before them must be in the store, or be among those dropped; false: an older agent would not send it again. */
  readonly mustFollow: boolean;
  readonly isFinal: boolean;
  readonly fromNs: number;
  readonly toNs: number;
  /** Made by `packBody`. */
  readonly packed: Uint8Array;
  readonly minutes: readonly MinuteCount[];
  readonly episodes: readonly Episode[];
}

export interface MinuteCount {
  readonly streamId: number;
  /** Whole minutes since the run's start. */
  readonly minute: number;
  readonly received: number;
  readonly lost: number;
  readonly hostLost: number | null;
  readonly duplicates: number;
  readonly reordered: number;
  readonly longestGapNs: number;
  readonly longestSilenceNs: number;
}

/**
 * Something that happened at one place. `loss`, `silence`, `host-loss`, `duplicates` and `reordered` are a listener's; `send-stall` and
 * `source-stop` a source's; `link` and `clock-step` a host's; `query` and `querier-change` what a watcher heard; `away`
 * is time that nobody measured, and `restart` the same where it is short; `no-control` time without the controller, in which measuring went on.
 */
export type EpisodeKind =
  | "loss"
  | "silence"
  | "host-loss"
  | "duplicates"
  | "reordered"
  | "send-stall"
  | "source-stop"
  | "link"
  | "clock-step"
  | "query"
  | "querier-change"
  | "away"
  | "restart"
  | "no-control"
  | "dropped";

export interface Episode {
  readonly kind: EpisodeKind;
  /** Empty for the controller itself. */
  readonly agent: string;
  readonly streamId: number | null;
  readonly fromNs: number;
  readonly toNs: number;
  readonly count: number;
  /** One sentence, or empty; of a loss the first numbers that did not come, such as `400-449 812`. */
  readonly detail: string;
}
