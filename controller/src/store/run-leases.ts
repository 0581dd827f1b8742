import { Fault } from "@dyetrace/wire";
import type { RunFailure } from "@dyetrace/wire/console/run-failure";
import { type Kysely, type RawBuilder, sql, type Transaction } from "kysely";
import type { RunLease } from "./run-record.ts";
import { type NewRun, RunRecords } from "./run-records.ts";
import type { StoreTables } from "./store-tables.ts";

/** A run that is conducted by a lease. */
export interface HeldRun extends RunLease {
  readonly runId: string;
}

/** What is known of a held run once its lease was renewed. */
export interface RenewedRun {
  readonly runId: string;
  readonly isStopAsked: boolean;
}

/**
 * Who conducts which run, where several controllers may share the store. A lease lasts for as long as it is renewed, by the
 * store's clock, which is the same for all; each change of hands raises the run's epoch, and what was written or ordered by an
 * earlier one counts for nothing any more.
 */
export class RunLeases {
  readonly #db: Kysely<StoreTables>;
  readonly #now: () => number;
  readonly #isShared: boolean;

  /** @param isShared it is a PostgreSQL database, and its own clock counts */
  constructor(db: Kysely<StoreTables>, now: () => number, isShared: boolean) {
    this.#db = db;
    this.#now = now;
    this.#isShared = isShared;
  }

  /** Writes a new run down. On a shared store a site has one run at a time. @throws {Fault} RUN_BUSY */
  async begin(run: NewRun): Promise<void> {
    if (!this.#isShared) return new RunRecords(this.#db, this.#now).add(run);
    await this.#db.transaction().execute(async (db) => {
      await this.#refuseBusy(db, run.site);
      await new RunRecords(db, this.#now).add(run);
      await this.#touch(db, run.runId);
    });
  }

  /**
   * Makes a scheduled run one that goes on: only one controller gets it.
   * @returns its epoch; null: it was begun elsewhere, or cancelled @throws {Fault} RUN_BUSY while its site has another
   */
  async claim(runId: string, owner: string): Promise<number | null> {
    return this.#db.transaction().execute(async (db) => {
      const run = await db.selectFrom("runs").select(["site", "state"]).where("id", "=", runId).executeTakeFirst();
      if (run?.state !== "scheduled") return null;
      if (this.#isShared) await this.#refuseBusy(db, run.site);
      const row = await db
        .updateTable("runs")
        .set((set) => ({
          state: "running",
          owner,
          heartbeat_ms: this.#clock(),
          epoch: set("epoch", "+", 1),
        }))
        .where("id", "=", runId)
        .where("state", "=", "scheduled")
        .returning("epoch")
        .executeTakeFirst();
      return row?.epoch ?? null;
    });
  }

  /** Gives a claimed run back that has not begun. @returns false where it is no longer this lease's */
  async unclaim({ runId, owner, epoch }: HeldRun): Promise<boolean> {
    const { numUpdatedRows } = await this.#db
      .updateTable("runs")
      .set({ state: "scheduled" })
      .where("id", "=", runId)
      .where("owner", "=", owner)
      .where("epoch", "=", epoch)
      .where("state", "=", "running")
      .where("started_ms", "is", null)
      .executeTakeFirst();
    return numUpdatedRows === 1n;
  }

  /** Its conductor ends, and the run does not. */
  async letGo({ runId, owner, epoch }: HeldRun): Promise<void> {
    await this.#db
      .updateTable("runs")
      .set({ heartbeat_ms: 0 })
      .where("id", "=", runId)
      .where("owner", "=", owner)
      .where("epoch", "=", epoch)
      .execute();
  }

  /** Cancels a run that waits for its time. @returns false where it does not wait */
  async cancel(runId: string, failure: RunFailure): Promise<boolean> {
    const { numUpdatedRows } = await this.#db
      .updateTable("runs")
      .set({ state: "failed", failure: JSON.stringify(failure), ended_ms: this.#now() })
      .where("id", "=", runId)
      .where("state", "=", "scheduled")
      .executeTakeFirst();
    return numUpdatedRows === 1n;
  }

  /** @returns those that are still the owner's @param held by their epochs */
  async renew(owner: string, held: readonly Omit<HeldRun, "owner">[]): Promise<readonly RenewedRun[]> {
    if (held.length === 0) return [];
    const rows = await this.#db
      .updateTable("runs")
      .set({ heartbeat_ms: this.#clock() })
      .where("owner", "=", owner)
      .where((where) => where.or(held.map(({ runId, epoch }) => where.and({ id: runId, epoch }))))
      .returning(["id", "is_stop_asked"])
      .execute();
    return rows.map(({ id, is_stop_asked }) => ({ runId: id, isStopAsked: is_stop_asked === 1 }));
  }

  /** Runs that go on and whose conductor has been silent for this long. */
  async left(goneAfterMs: number): Promise<readonly string[]> {
    const rows = await this.#db
      .selectFrom("runs")
      .select("id")
      .where("state", "=", "running")
      .where("heartbeat_ms", "<", this.#clock(goneAfterMs))
      .orderBy("created_ms")
      .execute();
    return rows.map(({ id }) => id);
  }

  /** Whether a controller conducts this run, or had it less than so long ago. */
  async isHeld(runId: string, goneAfterMs: number): Promise<boolean> {
    const row = await this.#db
      .selectFrom("runs")
      .select("id")
      .where("id", "=", runId)
      .where("state", "=", "running")
      .where("heartbeat_ms", ">=", this.#clock(goneAfterMs))
      .executeTakeFirst();
    return row !== undefined;
  }

  /**
   * Takes a run from a conductor that has been silent for this long. @param goneAfterMs null: nobody else can have it
   * @returns the new epoch; null: another controller was quicker, or it is conducted
   */
  async takeOver(runId: string, owner: string, goneAfterMs: number | null): Promise<number | null> {
    let query = this.#db
      .updateTable("runs")
      .set((set) => ({ owner, heartbeat_ms: this.#clock(), epoch: set("epoch", "+", 1) }))
      .where("id", "=", runId)
      .where("state", "=", "running");
    if (goneAfterMs !== null) query = query.where("heartbeat_ms", "<", this.#clock(goneAfterMs));
    const row = await query.returning("epoch").executeTakeFirst();
    return row?.epoch ?? null;
  }

  /** Asks whoever conducts these runs, now or next, to end them. @param runId null: all */
  async askStop(runId: string | null): Promise<void> {
    let query = this.#db.updateTable("runs").set({ is_stop_asked: 1 }).where("state", "=", "running");
    if (runId !== null) query = query.where("id", "=", runId);
    await query.execute();
  }

  async clockMs(): Promise<number> {
    const { rows } = await sql<{ at: number }>`select ${this.#clock()} as at`.execute(this.#db);
    return Number(rows[0]?.at);
  }

  /** The store's time less some, ms since 1970. */
  #clock(lessMs = 0): RawBuilder<number> {
    if (!this.#isShared) return sql<number>`${this.#now() - lessMs}`;
    return sql<number>`(extract(epoch from clock_timestamp()) * 1000)::bigint - ${sql.lit(Math.round(lessMs))}`;
  }

  async #touch(db: Transaction<StoreTables>, runId: string): Promise<void> {
    await db.updateTable("runs").set({ heartbeat_ms: this.#clock() }).where("id", "=", runId).execute();
  }

  /** One after the other asks and writes: two controllers must not both find the site free. */
  async #refuseBusy(db: Transaction<StoreTables>, site: string): Promise<void> {
    await sql`select pg_advisory_xact_lock(hashtext('dyetrace site'), hashtext(${site}))`.execute(db);
    const busy = await db
      .selectFrom("runs")
      .select("id")
      .where("state", "=", "running")
      .where("site", "=", site)
      .executeTakeFirst();
    if (busy === undefined) return;
    throw new Fault("RUN_BUSY", `Run ${busy.id} is going on at ${site}`, "Wait for its end, or abort it first");
  }
}
