import type { KeptHeaders } from "@dyetrace/wire/capture/kept-headers-schema";
import type { Kysely } from "kysely";
import { packJson, unpackJson } from "./pack/pack-json.ts";
import type { StoreTables } from "./store-tables.ts";

/** Headers that agents kept of runs: they go with their runs. */
export class HeaderCaptures {
  readonly #db: Kysely<StoreTables>;

  constructor(db: Kysely<StoreTables>) {
    this.#db = db;
  }

  /** What is there already is replaced. */
  async keep(headers: KeptHeaders): Promise<void> {
    const body = packJson(headers);
    await this.#db
      .insertInto("captures")
      .values({ run_id: headers.run, body })
      .onConflict((conflict) => conflict.column("run_id").doUpdateSet({ body }))
      .execute();
  }

  /** @returns null where none is kept */
  async find(runId: string): Promise<KeptHeaders | null> {
    const row = await this.#db.selectFrom("captures").select("body").where("run_id", "=", runId).executeTakeFirst();
    return row === undefined ? null : (unpackJson(row.body) as KeptHeaders);
  }
}
