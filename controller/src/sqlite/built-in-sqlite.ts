import { createRequire } from "node:module";
import type { SqliteFile, SqliteOptions, SqliteRow, SqliteStatement } from "./sqlite-file.ts";
import { resultCodeName } from "./sqlite-result-codes.ts";

/** What we use of `node:sqlite` (nodejs.org/api/sqlite.html). */
interface NodeSqlite {
  readonly DatabaseSync: new (
    file: string,
    options: { readonly readOnly: boolean; readonly timeout: number },
  ) => NodeDatabase;
  backup(database: NodeDatabase, into: string, options: { readonly rate: number }): Promise<number>;
}
interface NodeDatabase {
  readonly isOpen: boolean;
  readonly isTransaction: boolean;
  exec(sql: string): void;
  prepare(sql: string): NodeStatement;
  close(): void;
}
interface NodeStatement {
  columns(): readonly unknown[];
  all(...parameters: readonly unknown[]): SqliteRow[];
  run(...parameters: readonly unknown[]): { changes: number | bigint; lastInsertRowid: number | bigint };
  iterate(...parameters: readonly unknown[]): IterableIterator<SqliteRow>;
}

/** Node.js 20 has none; what 22.13 to 22.15 have lacks `backup`, `columns`, `isTransaction` and `timeout`. */
export function hasBuiltInSqlite(version: string = process.versions.node): boolean {
  const [major = 0, minor = 0] = version.split(".").map(Number);
  return major >= 24 || (major === 22 && minor >= 16);
}

let loaded: NodeSqlite | null = null;

/** Node.js 22 and 24 call their SQLite experimental on standard error; the tests of the store say what it does for us. */
function nodeSqlite(): NodeSqlite {
  if (loaded !== null) return loaded;
  const { emitWarning } = process;
  process.emitWarning = () => undefined;
  try {
    loaded = createRequire(import.meta.url)("node:sqlite") as NodeSqlite;
    return loaded;
  } finally {
    process.emitWarning = emitWarning;
  }
}

/** By the SQLite that Node.js has built in: nothing to compile, nothing to install. */
export class BuiltInSqlite implements SqliteFile {
  readonly #database: NodeDatabase;

  constructor(file: string, { isReadOnly = false, busyWithinMs = 0 }: SqliteOptions) {
    const { DatabaseSync } = nodeSqlite();
    this.#database = named(() => new DatabaseSync(file, { readOnly: isReadOnly, timeout: busyWithinMs }));
  }

  get inTransaction(): boolean {
    return this.#database.isTransaction;
  }

  exec(sql: string): void {
    named(() => this.#database.exec(sql));
  }

  prepare(sql: string): SqliteStatement {
    return new BuiltInStatement(named(() => this.#database.prepare(sql)));
  }

  pragma(words: string): unknown {
    const [row] = this.prepare(`pragma ${words}`).all();
    return row === undefined ? null : (Object.values(row)[0] ?? null);
  }

  async backup(into: string, pagesAStep: number): Promise<void> {
    try {
      await nodeSqlite().backup(this.#database, into, { rate: pagesAStep });
    } catch (error) {
      throw withName(error);
    }
  }

  close(): void {
    if (this.#database.isOpen) named(() => this.#database.close());
  }
}

class BuiltInStatement implements SqliteStatement {
  readonly #statement: NodeStatement;

  constructor(statement: NodeStatement) {
    this.#statement = statement;
  }

  get reader(): boolean {
    return this.#statement.columns().length > 0;
  }

  all(parameters: readonly unknown[] = []): SqliteRow[] {
    return named(() => this.#statement.all(...parameters));
  }

  run(parameters: readonly unknown[] = []): ReturnType<NodeStatement["run"]> {
    return named(() => this.#statement.run(...parameters));
  }

  /** All at once: an error in the middle would come without its name. */
  iterate(parameters: readonly unknown[] = []): IterableIterator<SqliteRow> {
    return this.all(parameters).values();
  }
}

function named<T>(work: () => T): T {
  try {
    return work();
  } catch (error) {
    throw withName(error);
  }
}

/** Node calls every failure of SQLite ERR_SQLITE_ERROR, with SQLite's result code beside it. */
function withName(error: unknown): unknown {
  const { errcode } = error as { readonly errcode?: unknown };
  return typeof errcode === "number" ? Object.assign(error as Error, { code: resultCodeName(errcode) }) : error;
}
