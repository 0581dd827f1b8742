import { Fault, type ProbeRun, type RunReport, type RunRequest } from "@dyetrace/wire";
import type { RunFailure } from "@dyetrace/wire/console/run-failure";
import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import type { Kysely } from "kysely";
import { type RunRecord, type RunStart, recordOf, summaryOf } from "./run-record.ts";
import type { StoreTables } from "./store-tables.ts";

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
      })
      .execute();
  }

  /** @param compiled what each agent is to do when, so that another controller can go on with it */
  async started(runId: string, start: RunStart, compiled: unknown): Promise<void> {
    await this.#db
      .updateTable("runs")
      .set({
        state: "running",
        started_ms: start.wallMs,
        start_controller_ns: start.controllerNs,
        boot_id: start.bootId,
        compiled: JSON.stringify(compiled),
        heartbeat_ms: this.#now(),
      })
      .where("id", "=", runId)
      .execute();
  }

  async done(report: RunReport): Promise<void> {
    await this.#db
      .updateTable("runs")
      .set({
        state: "done",
        verdict: report.verdict,
        report: JSON.stringify(report),
        started_ms: Date.parse(report.startedAt),
        ended_ms: Date.parse(report.endedAt),
      })
      .where("id", "=", report.run)
      .execute();
  }

  async failed(runId: string, failure: RunFailure): Promise<void> {
    await this.#db
      .updateTable("runs")
      .set({ state: "failed", failure: JSON.stringify(failure), ended_ms: this.#now() })
      .where("id", "=", runId)
      .execute();
  }

  /** Says that its controller still conducts it; a run whose controller has been silent may be taken over. */
  async heartbeat(runId: string): Promise<void> {
    await this.#db.updateTable("runs").set({ heartbeat_ms: this.#now() }).where("id", "=", runId).execute();
  }

  /**
   * Takes an unfinished run over from a controller that has gone.
   * @returns false if another controller was quicker
   */
  async takeOver(run: RunRecord, owner: string): Promise<boolean> {
    const { numUpdatedRows } = await this.#db
      .updateTable("runs")
      .set({ owner, heartbeat_ms: this.#now() })
      .where("id", "=", run.runId)
      .where("owner", "=", run.owner)
      .where("heartbeat_ms", "=", run.heartbeatMs)
      .executeTakeFirst();
    return numUpdatedRows === 1n;
  }

  /** @returns newest first */
  async list(most: number): Promise<readonly RunSummary[]> {
    const rows = await this.#db
      .selectFrom("runs")
      .select(["id", "state", "site", "scenario", "verdict", "created_ms", "start_at_ms", "started_ms", "ended_ms"])
      .orderBy("created_ms", "desc")
      .orderBy("id")
      .limit(most)
      .execute();
    const names = await this.#baselineNames();
    return rows.map((row) => summaryOf(row, names.get(row.id) ?? []));
  }

  /** Runs that are to start or that go on, oldest first. */
  async unfinished(): Promise<readonly RunRecord[]> {
    const rows = await this.#db
      .selectFrom("runs")
      .selectAll()
      .where("state", "in", ["scheduled", "running"])
      .orderBy("created_ms")
      .execute();
    return rows.map((row) => recordOf(row, []));
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
    return recordOf(row, (await this.#baselineNames()).get(runId) ?? []);
  }

  /** @throws {Fault} RUN_UNKNOWN */
  async get(runId: string): Promise<RunRecord> {
    const run = await this.find(runId);
    if (run === null) throw new Fault("RUN_UNKNOWN", `There is no run ${runId} here`, "`dyetrace runs` lists them");
    return run;
  }

  /** Names a finished run, so that later ones are held against it; an old meaning of the name is replaced. */
  async nameBaseline(name: string, runId: string): Promise<void> {
    const run = await this.get(runId);
    if (run.report === null)
      throw new Fault("RUN_UNFINISHED", `Run ${runId} has no report yet`, "Wait for its end before you name it");
    await this.#db
      .insertInto("baselines")
      .values({ name, run_id: runId, created_ms: this.#now() })
      .onConflict((conflict) => conflict.column("name").doUpdateSet({ run_id: runId, created_ms: this.#now() }))
      .execute();
  }

  /** @throws {Fault} BASELINE_UNKNOWN */
  async baseline(name: string): Promise<string> {
    const rows = await this.#db.selectFrom("baselines").select(["name", "run_id"]).orderBy("name").execute();
    const found = rows.find((row) => row.name === name);
    if (found !== undefined) return found.run_id;
    const known = rows.length === 0 ? "There are none yet" : `There are ${rows.map((row) => row.name).join(", ")}`;
    throw new Fault(
      "BASELINE_UNKNOWN",
      `No run is named ${name}`,
      `${known}. \`dyetrace baseline RUN NAME\` makes one`,
    );
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

  async #baselineNames(): Promise<ReadonlyMap<string, readonly string[]>> {
    const names = new Map<string, string[]>();
    for (const { name, run_id } of await this.#db.selectFrom("baselines").selectAll().orderBy("name").execute()) {
      names.set(run_id, [...(names.get(run_id) ?? []), name]);
    }
    return names;
  }
}
