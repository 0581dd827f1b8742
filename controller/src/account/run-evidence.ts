import type { ClockEstimate, IntervalReport, WatcherReport } from "@dyetrace/wire";
import type { Emission } from "./emissions.ts";
import type { SourceBreak } from "./source-breaks.ts";

/** Up to this length a run's reports are kept in memory as well. */
export const LONG_RUN_NS: number = 15 * 60e9;

/** Everything one agent said about a run. */
export interface AgentEvidence {
  readonly agent: string;
  /** By number, without repeats. */
  readonly reports: readonly IntervalReport[];
  /** What its watcher saw, in the same order; empty where it can't watch. */
  readonly watch: readonly WatcherReport[];
  /** Null: it never finished, so what it measured in its last seconds is unknown. */
  readonly final: IntervalReport | null;
  readonly clock: ClockEstimate | null;
  /** When its connection was lost for the last time, after the start; null if it was there to the end. */
  readonly lostAtNs: number | null;
  readonly troubles: readonly string[];
  /** Where its sending broke off; absent where its reports are all there is, in one piece of work. */
  readonly sourceBreaks?: readonly SourceBreak[];
  /** It sent a report that cannot be true, so none of its figures count. */
  readonly isDoubted?: boolean;
}

export interface RunEvidence {
  /** Wall-clock time of the start instant. */
  readonly startedAt: Date;
  readonly endedAt: Date;
  readonly agents: ReadonlyMap<string, AgentEvidence>;
  /** Agents of the plan that were not connected and had nothing to do but watch. */
  readonly absent: readonly string[];
  readonly isAborted: boolean;
  /** Why the controller stopped the run before its end by itself, in one sentence; null: it did not. */
  readonly stopReason: string | null;
  /** Who ordered its end, in words that follow "by"; null or absent: it is not known, or nobody did. */
  readonly stoppedBy?: string | null;
  /** False: not all reports are here; the store has them. */
  readonly isComplete: boolean;
  /** Of streams of others, by the stream's name: what was seen of it, in the place of its source's word. */
  readonly followed?: ReadonlyMap<string, Emission>;
}
