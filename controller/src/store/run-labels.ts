import { Fault } from "@dyetrace/wire";
import type { Baseline, MarkChange } from "@dyetrace/wire/console/stored-run";
import type { Kysely } from "kysely";
import type { StoreTables } from "./store-tables.ts";

/** More tell nobody anything, and the list of runs bears them all. */
const MOST_TAGS = 20;
/** Names in a sentence; the list has them all. */
const MOST_TOLD = 12;
/** Goes into addresses, options and lines of a terminal. */
const BASELINE_NAME = /^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$/;

/** What operators put to stored runs: baselines' names, tags, notes. */
export class RunLabels {
  readonly #db: Kysely<StoreTables>;
  readonly #now: () => number;

  /** @param now milliseconds since 1970 */
  constructor(db: Kysely<StoreTables>, now: () => number) {
    this.#db = db;
    this.#now = now;
  }

  /**
   * Names a finished run, so that later ones are held against it; an old meaning of the name is replaced.
   * @throws {Fault} OPTION_INVALID, RUN_UNKNOWN, RUN_UNFINISHED
   */
  async nameBaseline(name: string, runId: string): Promise<void> {
    if (!BASELINE_NAME.test(name)) {
      throw new Fault(
        "OPTION_INVALID",
        `"${name}" can't be the name of a run`,
        "Use up to 80 letters, digits, dots, dashes and underscores, a letter or digit first",
      );
    }
    const run = await this.#db.selectFrom("runs").select("report").where("id", "=", runId).executeTakeFirst();
    if (run === undefined) throw unknownRun(runId);
    if (run.report === null)
      throw new Fault("RUN_UNFINISHED", `Run ${runId} has no report yet`, "Wait for its end before you name it");
    await this.#db
      .insertInto("baselines")
      .values({ name, run_id: runId, created_ms: this.#now() })
      .onConflict((conflict) => conflict.column("name").doUpdateSet({ run_id: runId, created_ms: this.#now() }))
      .execute();
  }

  /** By name. */
  async baselines(): Promise<readonly Baseline[]> {
    const rows = await this.#db.selectFrom("baselines").selectAll().orderBy("name").execute();
    return rows.map((row) => ({
      name: row.name,
      runId: row.run_id,
      namedAt: new Date(row.created_ms).toISOString(),
    }));
  }

  /** @returns the id of the run that bears the name @throws {Fault} BASELINE_UNKNOWN */
  async baseline(name: string): Promise<string> {
    const named = await this.baselines();
    const found = named.find((one) => one.name === name);
    if (found !== undefined) return found.runId;
    const more = named.length > MOST_TOLD ? ` and ${named.length - MOST_TOLD} more` : "";
    const told = named.slice(0, MOST_TOLD).map((one) => one.name);
    const known = told.length === 0 ? "There are none yet" : `There are ${told.join(", ")}${more}`;
    throw new Fault(
      "BASELINE_UNKNOWN",
      `No run is named ${name}`,
      `${known}. \`dyetrace baseline RUN NAME\` makes one`,
    );
  }

  /** Takes a name away; its run stays. @throws {Fault} BASELINE_UNKNOWN */
  async removeBaseline(name: string): Promise<void> {
    await this.baseline(name);
    await this.#db.deleteFrom("baselines").where("name", "=", name).execute();
  }

  /** @throws {Fault} RUN_UNKNOWN; TOO_MANY, and nothing is changed then */
  async change(runId: string, { note, addTags = [], removeTags = [] }: MarkChange): Promise<void> {
    await this.#db.transaction().execute(async (db) => {
      const run = await db.selectFrom("runs").select("id").where("id", "=", runId).executeTakeFirst();
      if (run === undefined) throw unknownRun(runId);
      if (note !== undefined) await db.updateTable("runs").set({ note }).where("id", "=", runId).execute();
      if (removeTags.length > 0) {
        await db.deleteFrom("run_tags").where("run_id", "=", runId).where("tag", "in", removeTags).execute();
      }
      if (addTags.length === 0) return;
      await db
        .insertInto("run_tags")
        .values([...new Set(addTags)].map((tag) => ({ run_id: runId, tag })))
        .onConflict((conflict) => conflict.doNothing())
        .execute();
      const tags = await db.selectFrom("run_tags").select("tag").where("run_id", "=", runId).execute();
      if (tags.length <= MOST_TAGS) return;
      throw new Fault("TOO_MANY", `Run ${runId} would have ${tags.length} tags`, `${MOST_TAGS} are the most`);
    });
  }
}

export const unknownRun = (runId: string): Fault =>
  new Fault("RUN_UNKNOWN", `There is no run ${runId} here`, "`dyetrace runs` lists them");
