import { copyFileSync, existsSync, mkdirSync, renameSync, rmSync } from "node:fs";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import SQLite, { type Database as SqliteDatabase } from "better-sqlite3";
import { DATABASE_FILE, openDatabase } from "./open-database.ts";
import { storeFault } from "./store-fault.ts";

export interface Restored {
  readonly runs: number;
  /** Where the store that was there lies now; null: there was none. */
  readonly aside: string | null;
}

/**
 * Puts a backup in the place of a folder's store. The one that was there is kept beside it, under the name of the moment.
 * @param backup a file that `backUp` made
 * @param nowMs milliseconds since 1970
 * @throws {Fault} STORE_MISSING, STORE_CORRUPT, STORE_TOO_NEW of the backup; STORE_BUSY while a controller runs on the
 * folder; STORE_FULL. The store that was there stays in its place then
 */
export async function restoreStore(backup: string, folder: string, nowMs: number): Promise<Restored> {
  const file = path.join(folder, DATABASE_FILE);
  const draftFolder = path.join(folder, ".restore");
  const draft = path.join(draftFolder, DATABASE_FILE);
  if (!existsSync(backup))
    throw new Fault("STORE_MISSING", `There is no file ${backup}`, "Name one that `dyetrace backup` made");
  try {
    mkdirSync(draftFolder, { recursive: true, mode: 0o700 });
    const runs = await copyChecked(backup, draft, draftFolder);
    const aside = existsSync(file) ? `${file}.before-${stamp(nowMs)}` : null;
    const held = aside === null ? null : holdAlone(file);
    if (aside !== null) renameSync(file, aside);
    renameSync(draft, file);
    held?.close();
    return { runs, aside };
  } catch (error) {
    throw storeFault(error, file);
  } finally {
    rmSync(draftFolder, { recursive: true, force: true });
  }
}

/** Written anew, so that it can shrink, and brought up to date. @returns how many runs it holds */
async function copyChecked(backup: string, draft: string, draftFolder: string): Promise<number> {
  copyFileSync(backup, draft);
  try {
    const copy = new SQLite(draft);
    try {
      const health = copy.pragma("integrity_check(1)", { simple: true });
      if (health !== "ok")
        throw new Fault("STORE_CORRUPT", `${backup} is damaged: ${String(health)}`, "Take another backup");
      copy.pragma("journal_mode = DELETE");
      copy.pragma("auto_vacuum = INCREMENTAL");
      copy.exec("VACUUM");
    } finally {
      copy.close();
    }
    const { db } = await openDatabase({ kind: "folder", folder: draftFolder });
    try {
      const { count } = await db
        .selectFrom("runs")
        .select(({ fn }) => fn.countAll<number>().as("count"))
        .executeTakeFirstOrThrow();
      return count;
    } finally {
      await db.destroy();
    }
  } catch (error) {
    throw storeFault(error, backup);
  }
}

/** Nobody else has it open from here on; and no file of its own is beside it, which would be taken for the new one's. */
function holdAlone(file: string): SqliteDatabase {
  const store = new SQLite(file, { timeout: 0 });
  try {
    store.pragma("locking_mode = EXCLUSIVE");
    store.pragma("journal_mode = DELETE");
    store.exec("BEGIN EXCLUSIVE; COMMIT");
    return store;
  } catch (error) {
    store.close();
    throw error;
  }
}

const stamp = (nowMs: number): string => new Date(nowMs).toISOString().slice(0, 19).replaceAll(":", "");
