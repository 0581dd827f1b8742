import type { RunReport, RunRequest, Verdict } from "@dyetrace/wire";
import type { RunFailure } from "@dyetrace/wire/console/run-failure";
import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import type { Selectable } from "kysely";
import type { RunsTable } from "./store-tables.ts";

/** Everything that is kept of a run beside its interval reports. */
export interface RunRecord extends RunSummary {
  readonly request: RunRequest;
  /** Null while it goes on, and where it could not run. */
  readonly report: RunReport | null;
  readonly programVersion: string;
  readonly start: RunStart | null;
  readonly compiled: unknown;
  readonly endNs: number;
  readonly owner: string;
  readonly heartbeatMs: number;
  /** Rises each time another controller takes the run. */
  readonly epoch: number;
  readonly isStopAsked: boolean;
}

/** By which a controller conducts a run. */
export interface RunLease {
  readonly owner: string;
  readonly epoch: number;
}

/** The start instant: on the wall clock, and on the monotonic clock of one boot of the controller's machine. */
export interface RunStart {
  readonly wallMs: number;
  readonly controllerNs: number;
  readonly bootId: string;
}

type SummaryRow = Pick<
  Selectable<RunsTable>,
  | "id"
  | "state"
  | "site"
  | "scenario"
  | "verdict"
  | "created_ms"
  | "start_at_ms"
  | "started_ms"
  | "ended_ms"
  | "note"
  | "failure"
>;

/** What operators have put to a run beside its note. */
export interface RunMarks {
  readonly baselines: readonly string[];
  readonly tags: readonly string[];
}

export const NO_MARKS: RunMarks = { baselines: [], tags: [] };

export const summaryOf = (row: SummaryRow, { baselines, tags }: RunMarks): RunSummary => ({
  runId: row.id,
  state: row.state,
  site: row.site,
  scenario: row.scenario,
  verdict: row.verdict as Verdict | null,
  createdAt: new Date(row.created_ms).toISOString(),
  startAt: isoOf(row.start_at_ms),
  startedAt: isoOf(row.started_ms),
  endedAt: isoOf(row.ended_ms),
  baselines,
  tags,
  note: row.note,
  failure: row.failure === null ? null : (JSON.parse(row.failure) as RunFailure),
});

const isoOf = (wallMs: number | null): string | null => (wallMs === null ? null : new Date(wallMs).toISOString());

/** What stands in the store was checked when it came in, so it is taken as it is. */
export const recordOf = (row: Selectable<RunsTable>, marks: RunMarks): RunRecord => ({
  ...summaryOf(row, marks),
  request: JSON.parse(row.request) as RunRequest,
  report: row.report === null ? null : (JSON.parse(row.report) as RunReport),
  programVersion: row.program_version,
  start:
    row.started_ms === null || row.start_controller_ns === null || row.boot_id === null
      ? null
      : { wallMs: row.started_ms, controllerNs: row.start_controller_ns, bootId: row.boot_id },
  compiled: row.compiled === null ? null : JSON.parse(row.compiled),
  endNs: row.end_ns,
  owner: row.owner,
  heartbeatMs: row.heartbeat_ms,
  epoch: row.epoch,
  isStopAsked: row.is_stop_asked === 1,
});
