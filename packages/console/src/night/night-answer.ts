import type { ReportIncident } from "@dyetrace/wire";

/** `GET /api/runs/:id/night`, as far as the page reads it. */
export interface NightAnswer {
  readonly runId: string;
  readonly site: string;
  readonly scenario: string;
  /** ISO 8601. */
  readonly startedAt: string;
  /** How far it is. */
  readonly untilMs: number;
  readonly isOver: boolean;
  /** One letter a cell: `.` nothing measured, `-` whole, `1` to `4` lost under 0.01 %, 0.1 %, 1 % or more. */
  readonly strips: readonly NightStrip[];
  readonly cellMs: number;
  readonly received: number;
  readonly lost: number;
  /** Who did the most harm comes first. */
  readonly worst: readonly ReportIncident[];
  /** Of any kind. */
  readonly incidents: number;
  readonly patterns: readonly { readonly sentence: string }[];
}

export interface NightStrip {
  readonly stream: string;
  readonly listener: string;
  readonly cells: string;
}
