import type { RunState } from "@dyetrace/wire/console/stored-run";
import type { Generated } from "kysely";

/**
 * The store's tables. Instants named `…_ms` are milliseconds since 1970 UTC; `…_ns` count from the run's start; JSON is
 * text, reports are deflated JSON. Booleans are 0 or 1, because SQLite has no others.
 */
export interface StoreTables {
  readonly runs: RunsTable;
  readonly stints: StintsTable;
  readonly reports: ReportsTable;
  readonly minutes: MinutesTable;
  readonly episodes: EpisodesTable;
  readonly baselines: BaselinesTable;
  readonly stories: StoriesTable;
  readonly run_tags: RunTagsTable;
  readonly inventories: InventoriesTable;
  readonly captures: CapturesTable;
  readonly shared_access: SharedAccessTable;
  readonly sessions: SessionsTable;
}

export interface RunsTable {
  readonly id: string;
  readonly state: RunState;
  readonly site: string;
  readonly scenario: string;
  readonly created_ms: number;
  /** When it is to start; null is at once. */
  readonly start_at_ms: number | null;
  readonly started_ms: number | null;
  /** The start instant on the monotonic clock of the controller's machine, and which boot of it that clock belongs to. */
  readonly start_controller_ns: number | null;
  readonly boot_id: string | null;
  readonly end_ns: number;
  readonly ended_ms: number | null;
  readonly verdict: string | null;
  /** The files and parameters as they were given. */
  readonly request: string;
  /** What each agent is to do when; null before the run begins. */
  readonly compiled: string | null;
  readonly report: string | null;
  readonly failure: string | null;
  readonly program_version: string;
  /** Which controller conducts it, and when that one last said so. */
  readonly owner: string;
  readonly heartbeat_ms: number;
  /** The run whose suspects this one was made to part; null: it is no probe. */
  readonly probe_of: string | null;
  /** What an operator wrote to it. */
  readonly note: string | null;
  /** Its reports are as coarse as they will be. */
  readonly is_rolled_up: Generated<number>;
  /** Rises each time another controller takes the run: whoever writes or orders with an earlier one is refused. */
  readonly epoch: Generated<number>;
  /** Somebody asked for its end at a controller that does not conduct it. */
  readonly is_stop_asked: Generated<number>;
}

/** One uninterrupted piece of work of one agent in one run: a restarted agent begins another. */
export interface StintsTable {
  readonly run_id: string;
  readonly agent: string;
  readonly stint: string;
  readonly from_ns: number;
  readonly to_ns: number;
  /** Reports up to this number are in the store. */
  readonly kept_number: number;
  readonly is_final: number;
  /** Reports that the agent's spool had to drop. */
  readonly dropped_reports: number;
}

export interface ReportsTable {
  readonly run_id: string;
  readonly agent: string;
  readonly stint: string;
  readonly first_number: number;
  readonly last_number: number;
  readonly from_ns: number;
  readonly to_ns: number;
  /** How coarse the row is: 0 as reported, else the length that it was rolled up to. */
  readonly grain_ns: number;
  readonly body: Uint8Array;
}

/** Counts of one stream at one listener in one minute: what strips and summaries are drawn from. */
export interface MinutesTable {
  readonly run_id: string;
  readonly stream_id: number;
  readonly agent: string;
  readonly minute: number;
  readonly received: number;
  readonly lost: number;
  /** Null where the platform does not tell. */
  readonly host_lost: number | null;
  readonly duplicates: number;
  readonly reordered: number;
  readonly longest_gap_ns: number;
  readonly longest_silence_ns: number;
}

/** Something that happened at one place: raw material of incidents. */
export interface EpisodesTable {
  readonly id: Generated<number>;
  readonly run_id: string;
  readonly kind: string;
  readonly agent: string;
  readonly stream_id: number | null;
  readonly from_ns: number;
  readonly to_ns: number;
  /** Packets, frames or messages, by kind. */
  readonly count: number;
  readonly detail: string;
}

/** The story of a run that is over: deflated JSON. */
export interface StoriesTable {
  readonly run_id: string;
  readonly body: Uint8Array;
}

/** What the agents saw on the wire at one time: deflated JSON, with what a list of them shows beside it. */
export interface InventoriesTable {
  readonly id: string;
  readonly taken_ms: number;
  readonly seen_ms: number;
  /** How many agents saw something of it, and how many groups it has. */
  readonly agents: number;
  readonly groups: number;
  readonly body: Uint8Array;
}

/** Headers that agents kept of a run: deflated JSON. */
export interface CapturesTable {
  readonly run_id: string;
  readonly body: Uint8Array;
}

export interface BaselinesTable {
  readonly name: string;
  readonly run_id: string;
  readonly created_ms: number;
}

/** Words by which operators find runs again. */
export interface RunTagsTable {
  readonly run_id: string;
  readonly tag: string;
}

/** Who may do what, of all controllers that share the store: one row, as the file of a single controller has it. */
export interface SharedAccessTable {
  readonly id: number;
  /** Rises with each change. */
  readonly version: number;
  readonly body: string;
}

/** Operators who are signed in, at whichever controller. */
export interface SessionsTable {
  /** A hash of the secret. */
  readonly id: string;
  readonly name: string;
  /** A hash of the record that was signed in to. */
  readonly record: string;
  readonly began_ms: number;
  readonly used_ms: number;
}
