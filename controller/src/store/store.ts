import { sql } from "kysely";
import { HeaderCaptures } from "./header-captures.ts";
import { InventoryRecords } from "./inventory-records.ts";
import { type Database, type OpenOptions, openDatabase, type StorePlace } from "./open-database.ts";
import { backUp, shrink } from "./own-file.ts";
import { ReportRecords } from "./report-records.ts";
import { RunLabels } from "./run-labels.ts";
import { RunLeases } from "./run-leases.ts";
import { RunRecords } from "./run-records.ts";
import { SessionRecords } from "./session-records.ts";
import { SharedAccess } from "./shared-access.ts";
import { StoreBus } from "./store-bus.ts";
import { storeFault } from "./store-fault.ts";
import { StoryRecords } from "./story-records.ts";

/** Runs, their interval reports and their final reports. Whoever opens it closes it. */
export interface Store extends AsyncDisposable {
  /** As the operator knows it, without a password. */
  readonly name: string;
  /** No other controller can have it open. */
  readonly isPrivate: boolean;
  readonly runs: RunRecords;
  /** Who conducts which run. */
  readonly leases: RunLeases;
  readonly labels: RunLabels;
  readonly reports: ReportRecords;
  readonly stories: StoryRecords;
  readonly inventories: InventoryRecords;
  readonly captures: HeaderCaptures;
  /**
   * Copies everything to a new file, a little at a time, while it is written on.
   * @throws {Fault} STORE_FULL; OPTION_INVALID where it is a database of its own, which has tools for that
   */
  backUp(file: string): Promise<void>;
  /** Gives some of the room that deleted runs had back to the disk. @returns whether there is more */
  shrink(): boolean;
  /** @returns a failure of the store in the operator's terms; a bug of ours comes back as it is */
  fault(error: unknown): unknown;
  /** How controllers that share it tell each other something; whoever opens it closes it. @returns null where none do */
  openBus(): StoreBus | null;
  /** Who may do what, where controllers share it; whoever opens it closes it. @returns null where none do */
  openAccess(): Promise<SharedAccess | null>;
  /** Who is signed in, where controllers share it. */
  readonly sessions: SessionRecords | null;
  /** @returns its own clock, ms since 1970 @throws what the database throws: then it cannot be reached */
  clockMs(): Promise<number>;
  close(): Promise<void>;
}

/**
 * @param now milliseconds since 1970
 * @throws {Fault} STORE_UNREACHABLE, STORE_BUSY, STORE_FULL, STORE_READ_ONLY, STORE_CORRUPT, STORE_TOO_NEW, STORE_MISSING
 */
export async function openStore(
  place: StorePlace,
  now: () => number = Date.now,
  options: OpenOptions = {},
): Promise<Store> {
  return new OpenStore(await openDatabase(place, options), now);
}

class OpenStore implements Store {
  readonly name: string;
  readonly isPrivate: boolean;
  readonly runs: RunRecords;
  readonly leases: RunLeases;
  readonly reports: ReportRecords;
  readonly stories: StoryRecords;
  readonly inventories: InventoryRecords;
  readonly captures: HeaderCaptures;
  readonly labels: RunLabels;
  readonly sessions: SessionRecords | null;
  readonly #database: Database;

  constructor(database: Database, now: () => number) {
    const { db, leaseDb, name, isPostgres } = database;
    this.#database = database;
    this.name = name;
    this.isPrivate = !isPostgres;
    this.runs = new RunRecords(db, now);
    this.leases = new RunLeases(leaseDb, now, isPostgres);
    this.sessions = isPostgres ? new SessionRecords(db) : null;
    this.labels = new RunLabels(db, now);
    this.reports = new ReportRecords(db);
    this.stories = new StoryRecords(db);
    this.inventories = new InventoryRecords(db);
    this.captures = new HeaderCaptures(db);
  }

  backUp(file: string): Promise<void> {
    return backUp(this.#database, file);
  }

  shrink(): boolean {
    return shrink(this.#database);
  }

  fault(error: unknown): unknown {
    return storeFault(error, this.name);
  }

  openBus(): StoreBus | null {
    const { url, db } = this.#database;
    if (url === null) return null;
    return new StoreBus(url, (channel, payload) => sql`select pg_notify(${channel}, ${payload})`.execute(db));
  }

  async openAccess(): Promise<SharedAccess | null> {
    const { url, db } = this.#database;
    return url === null ? null : SharedAccess.open(url, db);
  }

  clockMs(): Promise<number> {
    return this.leases.clockMs();
  }

  async close(): Promise<void> {
    const { db, leaseDb } = this.#database;
    await db.destroy();
    if (leaseDb !== db) await leaseDb.destroy();
  }

  [Symbol.asyncDispose](): Promise<void> {
    return this.close();
  }
}
