import type { Kysely } from "kysely";
import { type Database, openDatabase, type StorePlace } from "./open-database.ts";
import { ReportRecords } from "./report-records.ts";
import { RunRecords } from "./run-records.ts";
import { storeFault } from "./store-fault.ts";
import type { StoreTables } from "./store-tables.ts";
import { StoryRecords } from "./story-records.ts";

/** Runs, their interval reports and their final reports. Whoever opens it closes it. */
export interface Store extends AsyncDisposable {
  /** As the operator knows it, without a password. */
  readonly name: string;
  /** No other controller can have it open. */
  readonly isPrivate: boolean;
  readonly runs: RunRecords;
  readonly reports: ReportRecords;
  readonly stories: StoryRecords;
  /** @returns a failure of the store in the operator's terms; a bug of ours comes back as it is */
  fault(error: unknown): unknown;
  close(): Promise<void>;
}

/**
 * @param now milliseconds since 1970
 * @throws {Fault} STORE_UNREACHABLE, STORE_BUSY, STORE_FULL, STORE_READ_ONLY, STORE_CORRUPT, STORE_TOO_NEW
 */
export async function openStore(place: StorePlace, now: () => number = Date.now): Promise<Store> {
  const database = await openDatabase(place);
  return new OpenStore(database, now);
}

class OpenStore implements Store {
  readonly name: string;
  readonly isPrivate: boolean;
  readonly runs: RunRecords;
  readonly reports: ReportRecords;
  readonly stories: StoryRecords;
  readonly #db: Kysely<StoreTables>;

  constructor({ db, name, isPostgres }: Database, now: () => number) {
    this.#db = db;
    this.name = name;
    this.isPrivate = !isPostgres;
    this.runs = new RunRecords(db, now);
    this.reports = new ReportRecords(db);
    this.stories = new StoryRecords(db);
  }

  fault(error: unknown): unknown {
    return storeFault(error, this.name);
  }

  close(): Promise<void> {
    return this.#db.destroy();
  }

  [Symbol.asyncDispose](): Promise<void> {
    return this.close();
  }
}
