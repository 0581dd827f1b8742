import { BuiltInSqlite, hasBuiltInSqlite } from "./built-in-sqlite.ts";
import { CompiledSqlite } from "./compiled-sqlite.ts";
import type { SqliteFile, SqliteOptions } from "./sqlite-file.ts";

/**
 * The one door to SQLite: Node's own where that has all we use, otherwise the one that was compiled.
 * @param file its path, or `:memory:`
 */
export function openSqliteFile(file: string, options: SqliteOptions = {}): SqliteFile {
  return hasBuiltInSqlite() ? new BuiltInSqlite(file, options) : new CompiledSqlite(file, options);
}
