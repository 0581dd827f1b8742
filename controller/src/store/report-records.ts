import { type Kysely, type Selectable, sql } from "kysely";
import { insertEpisodes, type KeepOutcome, keepReports } from "./keep-reports.ts";
import type { Episode, EpisodeKind, KeptReport, MinuteCount, ReportBody } from "./pack/kept-report.ts";
import { unpackBody } from "./pack/pack-body.ts";
import { type JoinBodies, type RollUpStep, rollUpReports } from "./roll-up-reports.ts";
import type { StoreTables } from "./store-tables.ts";

/** One stored row: one report, or several rolled up. */
export interface StoredReport extends ReportBody {
  readonly agent: string;
  readonly stint: string;
  readonly firstNumber: number;
  readonly lastNumber: number;
  readonly fromNs: number;
  readonly toNs: number;
  /** 0 as reported. */
  readonly grainNs: number;
}

/** One uninterrupted piece of work of one agent. */
export interface Stint {
  readonly agent: string;
  readonly stint: string;
  readonly fromNs: number;
  readonly toNs: number;
  readonly keptNumber: number;
  readonly isFinal: boolean;
  readonly droppedReports: number;
}

/** Instants in milliseconds since 1970; a run that goes on has not ended. */
export interface RunAge {
  readonly runId: string;
  readonly startedMs: number;
  readonly endedMs: number | null;
}

/** What one listener had of one stream in one cell of a strip; cells count from 0. */
export interface StripCell {
  readonly streamId: number;
  readonly agent: string;
  readonly cell: number;
  readonly received: number;
  readonly lost: number;
  /** Null: not known of all of it. */
  readonly hostLost: number | null;
}

export interface AgentMinute extends MinuteCount {
  readonly agent: string;
}

/** The interval reports of a store, and what is worked out of them at the door. */
export class ReportRecords {
  readonly #db: Kysely<StoreTables>;

  constructor(db: Kysely<StoreTables>) {
    this.#db = db;
  }

  /** See `keepReports`. */
  keep(batch: readonly KeptReport[]): Promise<readonly KeepOutcome[]> {
    return keepReports(this.#db, batch);
  }

  /** See `rollUpReports`. @returns how many rows went away */
  rollUp(runId: string, step: RollUpStep, join: JoinBodies): Promise<number> {
    return rollUpReports(this.#db, runId, step, join);
  }

  /** Runs that have begun and whose reports are finer than they will be, newest first. */
  async toRollUp(most: number): Promise<readonly RunAge[]> {
    const rows = await this.#db
      .selectFrom("runs")
      .select(["id", "started_ms", "ended_ms"])
      .where("is_rolled_up", "=", 0)
      .where("started_ms", "is not", null)
      .orderBy("created_ms", "desc")
      .limit(most)
      .execute();
    return rows.flatMap(({ id, started_ms, ended_ms }) =>
      started_ms === null ? [] : { runId: id, startedMs: started_ms, endedMs: ended_ms },
    );
  }

  async rolledUp(runId: string): Promise<void> {
    await this.#db.updateTable("runs").set({ is_rolled_up: 1 }).where("id", "=", runId).execute();
  }

  /** Notes what the controller itself saw, such as an agent's absence. */
  async addEpisodes(runId: string, episodes: readonly Episode[]): Promise<void> {
    await insertEpisodes(
      this.#db,
      episodes.map((episode) => ({ runId, episode })),
    );
  }

  async stints(runId: string, agent: string | null = null): Promise<readonly Stint[]> {
    let query = this.#db.selectFrom("stints").selectAll().where("run_id", "=", runId);
    if (agent !== null) query = query.where("agent", "=", agent);
    const rows = await query.orderBy("agent").orderBy("from_ns").execute();
    return rows.map((row) => ({
      agent: row.agent,
      stint: row.stint,
      fromNs: row.from_ns,
      toNs: row.to_ns,
      keptNumber: row.kept_number,
      isFinal: row.is_final === 1,
      droppedReports: row.dropped_reports,
    }));
  }

  /**
   * The rows of one agent in the order of its stints and numbers, a page at a time: a long run's never fit in memory.
   * @param sinceNs those that end before it are left out
   */
  async *ofAgent(runId: string, agent: string, sinceNs = 0): AsyncGenerator<StoredReport> {
    for (const { stint } of (await this.stints(runId, agent)).filter(({ toNs }) => toNs >= sinceNs)) {
      for (let after = 0; ; ) {
        const rows = await this.#db
          .selectFrom("reports")
          .selectAll()
          .where("run_id", "=", runId)
          .where("agent", "=", agent)
          .where("stint", "=", stint)
          .where("first_number", ">", after)
          .where("to_ns", ">=", sinceNs)
          .orderBy("first_number")
          .limit(200)
          .execute();
        for (const row of rows) {
          after = row.last_number;
          yield storedReport(row);
        }
        if (rows.length === 0) break;
      }
    }
  }

  async minutes(runId: string): Promise<readonly AgentMinute[]> {
    const rows = await this.#db.selectFrom("minutes").selectAll().where("run_id", "=", runId).execute();
    return rows.map((row) => ({
      agent: row.agent,
      streamId: row.stream_id,
      minute: row.minute,
      received: row.received,
      lost: row.lost,
      hostLost: row.host_lost,
      duplicates: row.duplicates,
      reordered: row.reordered,
      longestGapNs: row.longest_gap_ns,
      longestSilenceNs: row.longest_silence_ns,
    }));
  }

  /** Sums of the minutes over cells of several minutes: the database adds, so that a night is read in a moment. */
  async cells(runId: string, minutesPerCell: number): Promise<readonly StripCell[]> {
    const cell = sql<number>`minute / ${sql.lit(Math.max(1, Math.floor(minutesPerCell)))}`;
    const rows = await this.#db
      .selectFrom("minutes")
      .select(["stream_id", "agent", cell.as("cell")])
      .select(sql<number>`cast(sum(received) as bigint)`.as("received"))
      .select(sql<number>`cast(sum(lost) as bigint)`.as("lost"))
      .select(
        sql<number | null>`case when count(host_lost) = count(*) then cast(sum(host_lost) as bigint) end`.as(
          "hostLost",
        ),
      )
      .where("run_id", "=", runId)
      .groupBy(["stream_id", "agent", cell])
      .execute();
    return rows.map(({ stream_id, ...row }) => ({ streamId: stream_id, ...row }));
  }

  /** @returns by time, `most` at most */
  async episodes(runId: string, fromNs: number, toNs: number, most: number): Promise<readonly Episode[]> {
    const rows = await this.#episodesBefore(runId, toNs, most, []).where("from_ns", ">=", fromNs).execute();
    return rows.map(toEpisode);
  }

  /**
   * The same, page by page in the order of their beginnings, so that a night of any length needs little memory.
   * @param kinds only these; all where none is named
   */
  async *episodePages(
    runId: string,
    toNs: number,
    size: number,
    kinds: readonly EpisodeKind[] = [],
  ): AsyncGenerator<readonly Episode[]> {
    let after = { fromNs: -1, id: 0 };
    for (;;) {
      const rows = await this.#episodesBefore(runId, toNs, size, kinds)
        .where((where) =>
          where.or([
            where("from_ns", ">", after.fromNs),
            where.and([where("from_ns", "=", after.fromNs), where("id", ">", after.id)]),
          ]),
        )
        .execute();
      if (rows.length > 0) yield rows.map(toEpisode);
      const last = rows.at(-1);
      if (last === undefined || rows.length < size) return;
      after = { fromNs: last.from_ns, id: last.id };
    }
  }

  /** In the order of their beginnings. */
  #episodesBefore(runId: string, toNs: number, most: number, kinds: readonly EpisodeKind[]) {
    return this.#db
      .selectFrom("episodes")
      .selectAll()
      .where("run_id", "=", runId)
      .where("from_ns", "<", toNs)
      .$if(kinds.length > 0, (query) => query.where("kind", "in", [...kinds]))
      .orderBy("from_ns")
      .orderBy("id")
      .limit(most);
  }
}

const toEpisode = (row: Selectable<StoreTables["episodes"]>): Episode => ({
  kind: row.kind as EpisodeKind,
  agent: row.agent,
  streamId: row.stream_id,
  fromNs: row.from_ns,
  toNs: row.to_ns,
  count: row.count,
  detail: row.detail,
});

type ReportRow = StoreTables["reports"];

const storedReport = (row: ReportRow): StoredReport => ({
  ...unpackBody(row.body),
  agent: row.agent,
  stint: row.stint,
  firstNumber: row.first_number,
  lastNumber: row.last_number,
  fromNs: row.from_ns,
  toNs: row.to_ns,
  grainNs: row.grain_ns,
});
