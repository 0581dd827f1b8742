import {
  closeSync,
  copyFileSync,
  existsSync,
  fchmodSync,
  linkSync,
  mkdirSync,
  openSync,
  renameSync,
  rmSync,
  statSync,
} from "node:fs";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { leaveToFolder } from "../files/open-own.ts";
import { openSqliteFile } from "../sqlite/open-sqlite-file.ts";
import type { SqliteFile } from "../sqlite/sqlite-file.ts";
import { DATABASE_FILE, openDatabase } from "./open-database.ts";
import { storeFault } from "./store-fault.ts";

export interface Restored {
  readonly runs: number;
  /** Where the store that was there lies now; null: there was none. */
  readonly aside: string | null;
}

/**
 * Puts a backup in the place of a folder's store, damaged or not. The one that was there is kept beside it, under the name of
 * the moment.
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
  if ((statSync(`${backup}-wal`, { throwIfNoEntry: false })?.size ?? 0) > 0) {
    throw new Fault(
      "OPTION_INVALID",
      `Beside ${backup} lies ${backup}-wal with changes that are not in it yet`,
      "It is a store that a controller left in a hurry: `dyetrace backup FILE --data ITS-FOLDER` makes a backup of it",
    );
  }
  try {
    // What another try left there would be taken for this one's.
    rmSync(draftFolder, { recursive: true, force: true });
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    mkdirSync(draftFolder, { mode: 0o700 });
    const runs = await copyChecked(backup, draft, draftFolder);
    leaveTo(folder, draft);
    const aside = existsSync(file) ? `${file}.before-${stamp(nowMs)}` : null;
    const held = aside === null ? null : holdAlone(file);
    if (aside !== null) keepAside(file, aside, held === null);
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
    const copy = openSqliteFile(draft);
    try {
      const health = copy.pragma("integrity_check(1)");
      if (health !== "ok")
        throw new Fault("STORE_CORRUPT", `${backup} is damaged: ${String(health)}`, "Take another backup");
      // A file without anything in it is a sound database as well.
      if (copy.prepare("select 1 from sqlite_master where name = 'kysely_migration'").all().length === 0)
        throw new Fault("STORE_CORRUPT", `${backup} is no backup of dyetrace`, "Name one that `dyetrace backup` made");
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

/**
 * Nobody else has it open from here on; and no file of its own is beside it, which would be taken for the new one's.
 * @returns null: it is so damaged that no controller can have it open
 */
function holdAlone(file: string): SqliteFile | null {
  const store = openSqliteFile(file);
  try {
    store.pragma("locking_mode = EXCLUSIVE");
    store.pragma("journal_mode = DELETE");
    store.exec("BEGIN EXCLUSIVE; COMMIT");
    return store;
  } catch (error) {
    store.close();
    if (/^SQLITE_(NOTADB|CORRUPT)/.test(String((error as { code?: unknown }).code))) return null;
    throw error;
  }
}

/**
 * A second name for the store that was there: it stands in its place until the new one takes that in one step, so that whoever
 * is killed in between leaves one of the two there, never none.
 * @param isDamaged then SQLite may have files beside it, which go with it; otherwise they go as the store is closed
 */
function keepAside(file: string, aside: string, isDamaged: boolean): void {
  const beside = isDamaged ? ["-wal", "-shm", "-journal"].filter((end) => existsSync(`${file}${end}`)) : [];
  for (const end of beside) renameSync(`${file}${end}`, `${aside}${end}`);
  try {
    linkSync(file, aside);
  } catch {
    renameSync(file, aside); // a disk without hard links
  }
}

/** The program that runs there has to write it, whoever put it there. */
function leaveTo(folder: string, file: string): void {
  const handle = openSync(file, "r");
  try {
    fchmodSync(handle, 0o600);
    leaveToFolder(handle, folder);
  } finally {
    closeSync(handle);
  }
}

const stamp = (nowMs: number): string => new Date(nowMs).toISOString().slice(0, 19).replaceAll(":", "");
