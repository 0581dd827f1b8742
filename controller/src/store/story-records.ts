import type { RunStory } from "@dyetrace/wire";
import type { Kysely } from "kysely";
import { packJson, unpackJson } from "./pack/pack-json.ts";
import type { StoreTables } from "./store-tables.ts";

/** The stories of runs that are over: they go with their runs. */
export class StoryRecords {
  readonly #db: Kysely<StoreTables>;

  constructor(db: Kysely<StoreTables>) {
    this.#db = db;
  }

  /** A story that is there already is replaced. */
  async keep(story: RunStory): Promise<void> {
    const body = packJson(story);
    await this.#db
      .insertInto("stories")
      .values({ run_id: story.run, body })
      .onConflict((conflict) => conflict.column("run_id").doUpdateSet({ body }))
      .execute();
  }

  /** @returns null where none is kept */
  async find(runId: string): Promise<RunStory | null> {
    const row = await this.#db.selectFrom("stories").select("body").where("run_id", "=", runId).executeTakeFirst();
    return row === undefined ? null : (unpackJson(row.body) as RunStory);
  }
}
