import { Fault, groupBy, type ProbeRun, type RunReport, type RunRequest } from "@dyetrace/wire";
import type { RunFailure } from "@dyetrace/wire/console/run-failure";
import type { RunQuery, RunSummary } from "@dyetrace/wire/console/stored-run";
import type { Kysely, Updateable } from "kysely";
import { unknownRun } from "./run-labels.ts";
import {
  NO_MARKS,
  type RunLease,
  type RunMarks,
  type RunRecord,
  type RunStart,
  recordOf,
  summaryOf,
} from "./run-record.ts";
import type { RunsTable, StoreTables } from "./store-tables.ts";

export interface NewRun {
  readonly runId: string;
  readonly site: string;
  readonly scenario: string;
  readonly request: RunRequest;
  readonly endNs: number;
  /** Null starts at once. */
  readonly startAtMs: number | null;
  readonly programVersion: string;
  readonly owner: string;
}

const MOST_LISTED = 50;

const SUMMARY_COLUMNS = [
  "id",
  "state",
  "site",
  "scenario",
  "verdict",
  "created_ms",
  "start_at_ms",
  "started_ms",
  "ended_ms",
  "note",
  "failure",
] as const;

const elsewhere = (runId: string): Fault =>
  new Fault(
    "RUN_ELSEWHERE",
    `Run ${runId} is another controller's by now`,
    "This one was silent for too long, and the other went on with it: ask there, or see that the database can be reached",
  );

/** The runs of a store. */
export class RunRecords {
  readonly #db: Kysely<StoreTables>;
  readonly #now: () => number;

  /** @param now milliseconds since 1970 */
  constructor(db: Kysely<StoreTables>, now: () => number) {
    this.#db = db;
    this.#now = now;
  }

  async add(run: NewRun): Promise<void> {
    await this.#db
      .insertInto("runs")
      .values({
        id: run.runId,
        state: run.startAtMs === null ? "running" : "scheduled",
        site: run.site,
        scenario: run.scenario,
        created_ms: this.#now(),
        start_at_ms: run.startAtMs,
        started_ms: null,
        start_controller_ns: null,
        boot_id: null,
        end_ns: run.endNs,
        ended_ms: null,
        verdict: null,
        request: JSON.stringify(run.request),
        compiled: null,
        report: null,
        failure: null,
        program_version: run.programVersion,
        owner: run.owner,
        heartbeat_ms: this.#now(),
        probe_of: run.request.probeOf?.run ?? null,
        note: null,
      })
      .execute();
  }

  /**
   * @param compiled what each agent is to do when, so that another controller can go on with it
   * @throws {Fault} RUN_ELSEWHERE where the run is no longer this lease's
   */
  async started(runId: string, start: RunStart, compiled: unknown, lease: RunLease | null = null): Promise<void> {
    await this.#change(runId, lease, {
      state: "running",
      started_ms: start.wallMs,
      start_controller_ns: start.controllerNs,
      boot_id: start.bootId,
      compiled: JSON.stringify(compiled),
    });
  }

  /** @throws {Fault} RUN_ELSEWHERE */
  async done(report: RunReport, lease: RunLease | null = null): Promise<void> {
    await this.#change(report.run, lease, {
      state: "done",
      verdict: report.verdict,
      report: JSON.stringify(report),
      started_ms: Date.parse(report.startedAt),
      ended_ms: Date.parse(report.endedAt),
    });
  }

  /** @throws {Fault} RUN_ELSEWHERE */
  async failed(runId: string, failure: RunFailure, lease: RunLease | null = null): Promise<void> {
    await this.#change(runId, lease, {
      state: "failed",
      failure: JSON.stringify(failure),
      ended_ms: this.#now(),
    });
  }

  /** Nobody who has lost a run writes to it any more. @param lease null: of a run that no controller conducts */
  async #change(runId: string, lease: RunLease | null, values: Updateable<RunsTable>): Promise<void> {
    let query = this.#db.updateTable("runs").set(values).where("id", "=", runId);
    if (lease !== null) query = query.where("owner", "=", lease.owner).where("epoch", "=", lease.epoch);
    const { numUpdatedRows } = await query.executeTakeFirst();
    if (lease !== null && numUpdatedRows === 0n) throw elsewhere(runId);
  }

  /** @returns newest first */
  async list({ most = MOST_LISTED, since, tag, ...equal }: RunQuery): Promise<readonly RunSummary[]> {
    let query = this.#db.selectFrom("runs").select([...SUMMARY_COLUMNS]);
    for (const column of ["site", "scenario", "verdict"] as const) {
      const value = equal[column];
      if (value !== undefined) query = query.where(column, "=", value);
    }
    if (since !== undefined) query = query.where("created_ms", ">=", Date.parse(since));
    if (tag !== undefined) {
      query = query.where("id", "in", (from) => from.selectFrom("run_tags").select("run_id").where("tag", "=", tag));
    }
    const rows = await query.orderBy("created_ms", "desc").orderBy("id").limit(most).execute();
    const marksOf = await this.#marks();
    return rows.map((row) => summaryOf(row, marksOf(row.id)));
  }

  /** @throws {Fault} RUN_UNKNOWN */
  async summary(runId: string): Promise<RunSummary> {
    const row = await this.#db
      .selectFrom("runs")
      .select([...SUMMARY_COLUMNS])
      .where("id", "=", runId)
      .executeTakeFirst();
    if (row === undefined) throw unknownRun(runId);
    return summaryOf(row, (await this.#marks())(runId));
  }

  /** Runs that are to start or that go on, oldest first. */
  async unfinished(): Promise<readonly RunRecord[]> {
    const rows = await this.#db
      .selectFrom("runs")
      .selectAll()
      .where("state", "in", ["scheduled", "running"])
      .orderBy("created_ms")
      .execute();
    return rows.map((row) => recordOf(row, NO_MARKS));
  }

  /** Runs that were made to part the suspects of this one, oldest first. */
  async probesOf(runId: string): Promise<readonly ProbeRun[]> {
    const rows = await this.#db
      .selectFrom("runs")
      .select(["id", "state", "report"])
      .where("probe_of", "=", runId)
      .orderBy("created_ms")
      .execute();
    return rows.map(({ id, state, report }) => ({
      runId: id,
      state,
      probe: report === null ? null : ((JSON.parse(report) as RunReport).probe ?? null),
    }));
  }

  async find(runId: string): Promise<RunRecord | null> {
    const row = await this.#db.selectFrom("runs").selectAll().where("id", "=", runId).executeTakeFirst();
    if (row === undefined) return null;
    return recordOf(row, (await this.#marks())(runId));
  }

  /** @throws {Fault} RUN_UNKNOWN */
  async get(runId: string): Promise<RunRecord> {
    const run = await this.find(runId);
    if (run === null) throw unknownRun(runId);
    return run;
  }

  /**
   * Deletes a run with all its reports.
   * @throws {Fault} RUN_UNKNOWN, RUN_BUSY while it waits or goes on, RUN_NAMED
   */
  async remove(runId: string): Promise<void> {
    const { state, baselines } = await this.get(runId);
    if (state === "scheduled" || state === "running") {
      const hint = state === "running" ? "Stop it first, or wait for its end" : "Cancel it first";
      throw new Fault("RUN_BUSY", `Run ${runId} is ${state}`, hint);
    }
    const [name] = baselines;
    if (name !== undefined) {
      throw new Fault(
        "RUN_NAMED",
        `Run ${runId} is baseline:${name}, and later runs may be held against it`,
        `Remove the name first: \`dyetrace baseline remove ${name}\``,
      );
    }
    const { numDeletedRows } = await this.#db
      .deleteFrom("runs")
      .where("id", "=", runId)
      .where((where) => where.not(where("id", "in", where.selectFrom("baselines").select("run_id"))))
      .executeTakeFirst();
    if (numDeletedRows === 0n) throw new Fault("RUN_NAMED", `Run ${runId} was given a name just now`, "");
  }

  /** Deletes finished runs that ended before an instant, with all their reports; those that are named stay. */
  async deleteEndedBefore(wallMs: number): Promise<number> {
    const { numDeletedRows } = await this.#db
      .deleteFrom("runs")
      .where("ended_ms", "<", wallMs)
      .where("state", "in", ["done", "failed"])
      .where((where) => where.not(where("id", "in", where.selectFrom("baselines").select("run_id"))))
      .executeTakeFirst();
    return Number(numDeletedRows);
  }

  async #marks(): Promise<(runId: string) => RunMarks> {
    const named = await this.#db.selectFrom("baselines").selectAll().orderBy("name").execute();
    const tagged = await this.#db.selectFrom("run_tags").selectAll().orderBy("tag").execute();
    const names = groupBy(named, (row) => row.run_id);
    const tags = groupBy(tagged, (row) => row.run_id);
    return (runId) => ({
      baselines: (names.get(runId) ?? []).map(({ name }) => name),
      tags: (tags.get(runId) ?? []).map(({ tag }) => tag),
    });
  }
}
