export interface SqliteOptions {
  readonly isReadOnly?: boolean;
  /** How long another program's lock is waited for, without the event loop; 0: not at all. */
  readonly busyWithinMs?: number;
}

export type SqliteRow = Record<string, unknown>;

/** As Kysely's SQLite dialect asks for it. */
export interface SqliteStatement {
  /** It answers with rows. */
  readonly reader: boolean;
  all(parameters?: readonly unknown[]): SqliteRow[];
  run(parameters?: readonly unknown[]): { changes: number | bigint; lastInsertRowid: number | bigint };
  iterate(parameters?: readonly unknown[]): IterableIterator<SqliteRow>;
}

/**
 * A database of SQLite. Every call may throw an error with SQLite's own name of what is wrong as `code`: SQLITE_BUSY,
 * SQLITE_FULL and so on (sqlite.org/rescode.html).
 */
export interface SqliteFile {
  readonly inTransaction: boolean;
  exec(sql: string): void;
  prepare(sql: string): SqliteStatement;
  /** @returns what the pragma answers in its first column; null: nothing */
  pragma(words: string): unknown;
  /** Copies the whole database as it is at one moment, some pages at a time: others are served in between. */
  backup(into: string, pagesAStep: number): Promise<void>;
  /** Ends its transaction, gives its locks back; a second time does nothing. */
  close(): void;
}
