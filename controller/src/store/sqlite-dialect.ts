import { type DatabaseConnection, type Driver, SqliteDialect, SqliteDriver } from "kysely";
import type { SqliteFile } from "../sqlite/sqlite-file.ts";

/**
 * SQLite ends a transaction by itself when the disk is full or broken. Rolling it back once more would fail, and that
 * failure would hide the real one.
 */
export class SelfEndingSqliteDialect extends SqliteDialect {
  readonly #database: SqliteFile;

  constructor(database: SqliteFile) {
    super({ database });
    this.#database = database;
  }

  override createDriver(): Driver {
    return new SelfEndingDriver(this.#database);
  }
}

class SelfEndingDriver extends SqliteDriver {
  readonly #database: SqliteFile;

  constructor(database: SqliteFile) {
    super({ database });
    this.#database = database;
  }

  override async rollbackTransaction(connection: DatabaseConnection): Promise<void> {
    if (this.#database.inTransaction) await super.rollbackTransaction(connection);
  }
}
