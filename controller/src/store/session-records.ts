import type { Kysely } from "kysely";
import type { StoreTables } from "./store-tables.ts";

/** A session as it is kept: no secret in clear. */
export interface KeptSession {
  /** A hash of the secret. */
  readonly id: string;
  readonly name: string;
  readonly record: string;
  readonly beganMs: number;
  readonly usedMs: number;
}

/** Who is signed in, at any controller that shares the store. */
export class SessionRecords {
  readonly #db: Kysely<StoreTables>;

  constructor(db: Kysely<StoreTables>) {
    this.#db = db;
  }

  async keep({ id, name, record, beganMs, usedMs }: KeptSession): Promise<void> {
    const row = { id, name, record, began_ms: Math.round(beganMs), used_ms: Math.round(usedMs) };
    await this.#db
      .insertInto("sessions")
      .values(row)
      .onConflict((conflict) => conflict.column("id").doUpdateSet({ used_ms: row.used_ms }))
      .execute();
  }

  async find(id: string): Promise<KeptSession | null> {
    const row = await this.#db.selectFrom("sessions").selectAll().where("id", "=", id).executeTakeFirst();
    if (row === undefined) return null;
    return { id: row.id, name: row.name, record: row.record, beganMs: row.began_ms, usedMs: row.used_ms };
  }

  async ids(): Promise<ReadonlySet<string>> {
    const rows = await this.#db.selectFrom("sessions").select("id").execute();
    return new Set(rows.map(({ id }) => id));
  }

  /** Used again: a session that was not used for long ends. */
  async used(id: string, atMs: number): Promise<void> {
    await this.#db
      .updateTable("sessions")
      .set({ used_ms: Math.round(atMs) })
      .where("id", "=", id)
      .execute();
  }

  async end(id: string): Promise<void> {
    await this.#db.deleteFrom("sessions").where("id", "=", id).execute();
  }

  async removeOlder(usedBeforeMs: number, beganBeforeMs: number): Promise<void> {
    await this.#db
      .deleteFrom("sessions")
      .where((where) =>
        where.or([where("used_ms", "<", Math.round(usedBeforeMs)), where("began_ms", "<", Math.round(beganBeforeMs))]),
      )
      .execute();
  }
}
