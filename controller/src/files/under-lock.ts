import { closeSync } from "node:fs";
import { openSqliteFile } from "../sqlite/open-sqlite-file.ts";
import { openOwn } from "./open-own.ts";

/** What is done under a lock takes milliseconds; whoever holds it longer is stuck. */
const WITHIN_MS = 1000;

/**
 * Runs something that reads a file and writes it anew while no other program of ours does the same. The lock is the kernel's
 * (fcntl, which SQLite takes on `FILE.lock`), so that it goes with whoever held it. Waits without the event loop.
 * @throws {Error} SQLITE_BUSY where another one keeps it, the system's where there can be no lock, and whatever `work` throws
 */
export function underLock<T>(file: string, work: () => T): T {
  const lockFile = `${file}.lock`;
  closeSync(openOwn(lockFile));
  const lock = openSqliteFile(lockFile, { busyWithinMs: WITHIN_MS });
  try {
    lock.exec("BEGIN IMMEDIATE");
    return work();
  } finally {
    lock.close(); // ends the transaction, which wrote nothing
  }
}
