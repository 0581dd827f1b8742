import { createRequire } from "node:module";
import type SQLite from "better-sqlite3";
import type { SqliteFile, SqliteOptions, SqliteRow, SqliteStatement } from "./sqlite-file.ts";

const require = createRequire(import.meta.url);

/** By better-sqlite3, which deploy/bootstrap.mjs compiles where Node.js has no SQLite of its own. */
export class CompiledSqlite implements SqliteFile {
  readonly #database: SQLite.Database;

  constructor(file: string, { isReadOnly = false, busyWithinMs = 0 }: SqliteOptions) {
    const Database = require("better-sqlite3") as typeof SQLite; // only here: elsewhere its binary is not there
    this.#database = new Database(file, { readonly: isReadOnly, timeout: busyWithinMs });
  }

  get inTransaction(): boolean {
    return this.#database.inTransaction;
  }

  exec(sql: string): void {
    this.#database.exec(sql);
  }

  prepare(sql: string): SqliteStatement {
    return new CompiledStatement(this.#database.prepare(sql));
  }

  pragma(words: string): unknown {
    return this.#database.pragma(words, { simple: true }) ?? null;
  }

  async backup(into: string, pagesAStep: number): Promise<void> {
    await this.#database.backup(into, { progress: () => pagesAStep });
  }

  close(): void {
    this.#database.close();
  }
}

class CompiledStatement implements SqliteStatement {
  readonly #statement: SQLite.Statement;

  constructor(statement: SQLite.Statement) {
    this.#statement = statement;
  }

  get reader(): boolean {
    return this.#statement.reader;
  }

  all(parameters: readonly unknown[] = []): SqliteRow[] {
    return this.#statement.all(parameters) as SqliteRow[];
  }

  run(parameters: readonly unknown[] = []): SQLite.RunResult {
    return this.#statement.run(parameters);
  }

  iterate(parameters: readonly unknown[] = []): IterableIterator<SqliteRow> {
    return this.#statement.iterate(parameters) as IterableIterator<SqliteRow>;
  }
}
