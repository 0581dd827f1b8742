import { accessSync, constants, existsSync, mkdirSync } from "node:fs";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { Kysely, Migrator, PostgresDialect, sql } from "kysely";
import pg from "pg";
import { openSqliteFile } from "../sqlite/open-sqlite-file.ts";
import type { SqliteFile } from "../sqlite/sqlite-file.ts";
import { type ColumnTypes, migrations } from "./migrations.ts";
import { SelfEndingSqliteDialect } from "./sqlite-dialect.ts";
import { storeFault } from "./store-fault.ts";
import type { StoreTables } from "./store-tables.ts";

/** Where runs are kept: a folder for the embedded database, `memory`, or the URL of a PostgreSQL database. */
export type StorePlace =
  | { readonly kind: "folder"; readonly folder: string }
  | { readonly kind: "memory" }
  | { readonly kind: "postgres"; readonly url: string };

export interface Database {
  readonly db: Kysely<StoreTables>;
  /** With connections of its own, so that who conducts a run is written down however busy the others are; of SQLite the same. */
  readonly leaseDb: Kysely<StoreTables>;
  /** As the operator knows it, without a password. */
  readonly name: string;
  readonly isPostgres: boolean;
  /** The embedded database itself, for what its own interface alone can do. */
  readonly sqlite: SqliteFile | null;
  /** Of a PostgreSQL database: where it is. */
  readonly url: string | null;
}

export interface OpenOptions {
  /** Nothing is made where nothing is: whoever reads a store has mistyped its name then. */
  readonly mustExist?: boolean;
}

export const DATABASE_FILE = "dyetrace.sqlite";
/** How long another program may hold the embedded database before we say so. */
const BUSY_WITHIN_MS = 2000;
const MOST_REWRITTEN_BYTES = 64e6;

/** Opens the database and brings its schema up to date. @throws {Fault} STORE_… */
export async function openDatabase(place: StorePlace, { mustExist = false }: OpenOptions = {}): Promise<Database> {
  const name = nameOf(place);
  if (mustExist && place.kind === "folder" && !existsSync(name)) {
    throw new Fault(
      "STORE_MISSING",
      `There is no store in ${place.folder}`,
      `It would be the file ${DATABASE_FILE}. Name the folder that the controller was started with`,
    );
  }
  let database: Database | null = null;
  try {
    database = place.kind === "postgres" ? openPostgres(place.url, name) : openSqlite(place, name);
    await migrate(database);
    if (database.sqlite !== null) learnToShrink(database.sqlite); // it is ours, and no newer version's
    return database;
  } catch (error) {
    await database?.db.destroy().catch(() => undefined);
    await database?.leaseDb.destroy().catch(() => undefined);
    throw storeFault(error, name);
  }
}

function nameOf(place: StorePlace): string {
  if (place.kind === "memory") return "in memory";
  if (place.kind === "folder") return path.join(place.folder, DATABASE_FILE);
  const url = new URL(place.url);
  url.password = "";
  return url.toString();
}

function openSqlite(place: Exclude<StorePlace, { kind: "postgres" }>, name: string): Database {
  if (place.kind === "folder") {
    mkdirSync(place.folder, { recursive: true, mode: 0o700 });
    for (const file of [place.folder, name]) if (existsSync(file)) accessSync(file, constants.W_OK);
  }
  const sqlite = openSqliteFile(place.kind === "memory" ? ":memory:" : name, { busyWithinMs: BUSY_WITHIN_MS });
  try {
    // Before anything is written: a database that has begun without it takes it only by being written anew.
    if (sqlite.pragma("page_count") === 0) sqlite.pragma("auto_vacuum = INCREMENTAL");
    // One program at a time: two would both pick up the same runs. The kernel lets the lock go with the process.
    sqlite.pragma("locking_mode = EXCLUSIVE");
    sqlite.pragma("journal_mode = WAL");
    // A report that was acknowledged is on the disk, whatever happens to the machine.
    sqlite.pragma("synchronous = FULL");
    sqlite.pragma("foreign_keys = ON");
    sqlite.exec("BEGIN IMMEDIATE; COMMIT"); // takes the lock now, and finds a file that can't be written
  } catch (error) {
    sqlite.close();
    throw error;
  }
  const db = new Kysely<StoreTables>({ dialect: new SelfEndingSqliteDialect(sqlite) });
  return { db, leaseDb: db, name, isPostgres: false, sqlite, url: null };
}

/**
 * Earlier versions made stores that keep every page they ever had. Writing such a one anew takes seconds for each hundred
 * megabytes and twice its room on the disk, so a large one stays as it is until it is restored from a backup. So does one for which
 * there is no room, here or where SQLite keeps temporary files: that is no reason not to start.
 */
function learnToShrink(sqlite: SqliteFile): void {
  const read = (pragma: string): number => sqlite.pragma(pragma) as number;
  const INCREMENTAL = 2;
  if (read("auto_vacuum") === INCREMENTAL) return;
  if (read("page_count") * read("page_size") > MOST_REWRITTEN_BYTES) return;
  try {
    sqlite.pragma("auto_vacuum = INCREMENTAL");
    sqlite.exec("VACUUM");
  } catch (error) {
    const { code } = error as { code?: unknown };
    if (!/^SQLITE_(FULL|CANTOPEN|IOERR)/.test(String(code))) throw error; // otherwise it grows on as it did
  }
}

function openPostgres(url: string, name: string): Database {
  // Counts are bigint in the tables and stay below 2^53 here; pg would hand them over as strings.
  const types: pg.CustomTypesConfig = {
    getTypeParser: ((oid: number, format?: "text" | "binary") =>
      oid === pg.types.builtins.INT8
        ? Number
        : pg.types.getTypeParser(oid, format)) as pg.CustomTypesConfig["getTypeParser"],
  };
  const connect = (max: number): Kysely<StoreTables> => {
    const pool = new pg.Pool({ connectionString: url, max, connectionTimeoutMillis: 5000, types });
    // An idle connection that breaks is replaced at the next query, which reports what is wrong.
    pool.on("error", () => undefined);
    return new Kysely<StoreTables>({ dialect: new PostgresDialect({ pool }) });
  };
  return {
    db: connect(8),
    leaseDb: connect(2),
    name,
    isPostgres: true,
    sqlite: null,
    url,
  };
}

const SQLITE_TYPES: ColumnTypes = { blob: "blob", counter: "integer" };
const POSTGRES_TYPES: ColumnTypes = { blob: "bytea", counter: "bigserial" };

/** @throws {Fault} STORE_TOO_NEW, and nothing is changed then */
async function migrate({ db, name, isPostgres }: Database): Promise<void> {
  const known = migrations(isPostgres ? POSTGRES_TYPES : SQLITE_TYPES);
  const tables = await db.introspection.getTables({ withInternalKyselyTables: true });
  if (tables.some((table) => table.name === "kysely_migration")) {
    const { rows } = await sql<{ name: string }>`select name from kysely_migration`.execute(db);
    const newer = rows.find((row) => known[row.name] === undefined);
    if (newer !== undefined) {
      throw new Fault(
        "STORE_TOO_NEW",
        `The store ${name} was written by a newer dyetrace (it has "${newer.name}")`,
        "Start that version again, or name another place; nothing was changed in this one",
      );
    }
    if (rows.length === Object.keys(known).length) return;
  } else if (tables.length > 0 && !isPostgres) {
    throw new Fault(
      "STORE_CORRUPT",
      `${name} is a database, but not one of dyetrace`,
      "Nothing was changed in it. Name another place with --data",
    );
  }
  const migrator = new Migrator({ db, provider: { getMigrations: async () => ({ ...known }) } });
  const { error } = await migrator.migrateToLatest();
  if (error !== undefined) throw error;
}
