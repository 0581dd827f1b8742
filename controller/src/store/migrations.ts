import { type Kysely, type Migration, sql } from "kysely";

/** What the two databases write differently. */
export interface ColumnTypes {
  readonly blob: "blob" | "bytea";
  /** A number of its own for every row. */
  readonly counter: "integer" | "bigserial";
}

/** Every step the store's schema has taken, by name and in order. A step that was released is never changed. */
export const migrations = (types: ColumnTypes): Readonly<Record<string, Migration>> => ({
  "001-runs": {
    up: async (db: Kysely<unknown>): Promise<void> => {
      await db.schema
        .createTable("runs")
        .addColumn("id", "text", (column) => column.primaryKey())
        .addColumn("state", "text", (column) => column.notNull())
        .addColumn("site", "text", (column) => column.notNull())
        .addColumn("scenario", "text", (column) => column.notNull())
        .addColumn("created_ms", "bigint", (column) => column.notNull())
        .addColumn("start_at_ms", "bigint")
        .addColumn("started_ms", "bigint")
        .addColumn("start_controller_ns", "double precision")
        .addColumn("boot_id", "text")
        .addColumn("end_ns", "double precision", (column) => column.notNull())
        .addColumn("ended_ms", "bigint")
        .addColumn("verdict", "text")
        .addColumn("request", "text", (column) => column.notNull())
        .addColumn("compiled", "text")
        .addColumn("report", "text")
        .addColumn("failure", "text")
        .addColumn("program_version", "text", (column) => column.notNull())
        .addColumn("owner", "text", (column) => column.notNull())
        .addColumn("heartbeat_ms", "bigint", (column) => column.notNull())
        .execute();
      await db.schema.createIndex("runs_by_time").on("runs").column("created_ms").execute();
      await db.schema
        .createTable("stints")
        .addColumn("run_id", "text", (column) => column.notNull().references("runs.id").onDelete("cascade"))
        .addColumn("agent", "text", (column) => column.notNull())
        .addColumn("stint", "text", (column) => column.notNull())
        .addColumn("from_ns", "double precision", (column) => column.notNull())
        .addColumn("to_ns", "double precision", (column) => column.notNull())
        .addColumn("kept_number", "bigint", (column) => column.notNull())
        .addColumn("is_final", "integer", (column) => column.notNull())
        .addColumn("dropped_reports", "bigint", (column) => column.notNull())
        .addPrimaryKeyConstraint("stints_key", ["run_id", "agent", "stint"])
        .execute();
      await db.schema
        .createTable("reports")
        .addColumn("run_id", "text", (column) => column.notNull().references("runs.id").onDelete("cascade"))
        .addColumn("agent", "text", (column) => column.notNull())
        .addColumn("stint", "text", (column) => column.notNull())
        .addColumn("first_number", "bigint", (column) => column.notNull())
        .addColumn("last_number", "bigint", (column) => column.notNull())
        .addColumn("from_ns", "double precision", (column) => column.notNull())
        .addColumn("to_ns", "double precision", (column) => column.notNull())
        .addColumn("grain_ns", "double precision", (column) => column.notNull())
        .addColumn("body", sql.raw(types.blob), (column) => column.notNull())
        .addPrimaryKeyConstraint("reports_key", ["run_id", "agent", "stint", "first_number"])
        .execute();
      await db.schema.createIndex("reports_by_grain").on("reports").columns(["run_id", "grain_ns", "to_ns"]).execute();
      await db.schema
        .createTable("minutes")
        .addColumn("run_id", "text", (column) => column.notNull().references("runs.id").onDelete("cascade"))
        .addColumn("stream_id", "bigint", (column) => column.notNull())
        .addColumn("agent", "text", (column) => column.notNull())
        .addColumn("minute", "bigint", (column) => column.notNull())
        .addColumn("received", "bigint", (column) => column.notNull())
        .addColumn("lost", "bigint", (column) => column.notNull())
        .addColumn("host_lost", "bigint")
        .addColumn("duplicates", "bigint", (column) => column.notNull())
        .addColumn("reordered", "bigint", (column) => column.notNull())
        .addColumn("longest_gap_ns", "double precision", (column) => column.notNull())
        .addColumn("longest_silence_ns", "double precision", (column) => column.notNull())
        .addPrimaryKeyConstraint("minutes_key", ["run_id", "stream_id", "agent", "minute"])
        .execute();
      await db.schema
        .createTable("episodes")
        .addColumn("id", sql.raw(types.counter), (column) => column.primaryKey())
        .addColumn("run_id", "text", (column) => column.notNull().references("runs.id").onDelete("cascade"))
        .addColumn("kind", "text", (column) => column.notNull())
        .addColumn("agent", "text", (column) => column.notNull())
        .addColumn("stream_id", "bigint")
        .addColumn("from_ns", "double precision", (column) => column.notNull())
        .addColumn("to_ns", "double precision", (column) => column.notNull())
        .addColumn("count", "bigint", (column) => column.notNull())
        .addColumn("detail", "text", (column) => column.notNull())
        .execute();
      await db.schema.createIndex("episodes_by_time").on("episodes").columns(["run_id", "from_ns"]).execute();
      await db.schema
        .createTable("baselines")
        .addColumn("name", "text", (column) => column.primaryKey())
        .addColumn("run_id", "text", (column) => column.notNull().references("runs.id"))
        .addColumn("created_ms", "bigint", (column) => column.notNull())
        .execute();
    },
  },
  "002-probes": {
    up: async (db: Kysely<unknown>): Promise<void> => {
      await db.schema.alterTable("runs").addColumn("probe_of", "text").execute();
      await db.schema.createIndex("runs_by_probed").on("runs").column("probe_of").execute();
    },
  },
  "003-stories": {
    up: async (db: Kysely<unknown>): Promise<void> => {
      await db.schema
        .createTable("stories")
        .addColumn("run_id", "text", (column) => column.primaryKey().references("runs.id").onDelete("cascade"))
        .addColumn("body", sql.raw(types.blob), (column) => column.notNull())
        .execute();
    },
  },
  "004-history": {
    up: async (db: Kysely<unknown>): Promise<void> => {
      await db.schema.alterTable("runs").addColumn("note", "text").execute();
      await db.schema
        .alterTable("runs")
        .addColumn("is_rolled_up", "integer", (column) => column.notNull().defaultTo(0))
        .execute();
      await db.schema
        .createTable("run_tags")
        .addColumn("run_id", "text", (column) => column.notNull().references("runs.id").onDelete("cascade"))
        .addColumn("tag", "text", (column) => column.notNull())
        .addPrimaryKeyConstraint("run_tags_key", ["run_id", "tag"])
        .execute();
    },
  },
  "005-estate": {
    up: async (db: Kysely<unknown>): Promise<void> => {
      await db.schema
        .alterTable("runs")
        .addColumn("epoch", "integer", (column) => column.notNull().defaultTo(1))
        .execute();
      await db.schema
        .alterTable("runs")
        .addColumn("is_stop_asked", "integer", (column) => column.notNull().defaultTo(0))
        .execute();
      await db.schema
        .createTable("shared_access")
        .addColumn("id", "integer", (column) => column.primaryKey())
        .addColumn("version", "bigint", (column) => column.notNull())
        .addColumn("body", "text", (column) => column.notNull())
        .execute();
      await db.schema
        .createTable("sessions")
        .addColumn("id", "text", (column) => column.primaryKey())
        .addColumn("name", "text", (column) => column.notNull())
        .addColumn("record", "text", (column) => column.notNull())
        .addColumn("began_ms", "bigint", (column) => column.notNull())
        .addColumn("used_ms", "bigint", (column) => column.notNull())
        .execute();
    },
  },
  "006-inventories": {
    up: async (db: Kysely<unknown>): Promise<void> => {
      await db.schema
        .createTable("inventories")
        .addColumn("id", "text", (column) => column.primaryKey())
        .addColumn("taken_ms", "bigint", (column) => column.notNull())
        .addColumn("seen_ms", "double precision", (column) => column.notNull())
        .addColumn("agents", "integer", (column) => column.notNull())
        .addColumn("groups", "integer", (column) => column.notNull())
        .addColumn("body", sql.raw(types.blob), (column) => column.notNull())
        .execute();
      await db.schema.createIndex("inventories_by_time").on("inventories").column("taken_ms").execute();
    },
  },
  "007-captures": {
    up: async (db: Kysely<unknown>): Promise<void> => {
      await db.schema
        .createTable("captures")
        .addColumn("run_id", "text", (column) => column.primaryKey().references("runs.id").onDelete("cascade"))
        .addColumn("body", sql.raw(types.blob), (column) => column.notNull())
        .execute();
    },
  },
});
