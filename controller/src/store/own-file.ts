import { closeSync, openSync, rmSync } from "node:fs";
import { Fault } from "@dyetrace/wire";
import type { Database } from "./open-database.ts";

/** Between two steps of a backup whoever waits is served. */
const PAGES_A_STEP = 200;
/** 4 MB a step: some milliseconds. */
const PAGES_GIVEN_BACK = 1000;

/** See `Store.backUp`. Its owner alone may read it. A file that is half written goes away again. */
export async function backUp({ sqlite, name }: Database, file: string): Promise<void> {
  if (sqlite === null) {
    throw new Fault(
      "OPTION_INVALID",
      `The runs are in the database ${name}`,
      "Its own tools back it up while it is used: `pg_dump`; `pg_restore` puts it back",
    );
  }
  closeSync(openSync(file, "wx", 0o600));
  try {
    await sqlite.backup(file, PAGES_A_STEP);
  } catch (error) {
    rmSync(file, { force: true });
    throw error;
  }
}

/** See `Store.shrink`. PostgreSQL does that by itself. */
export function shrink({ sqlite }: Database): boolean {
  if (sqlite === null) return false;
  const free = (): number => sqlite.pragma("freelist_count") as number;
  if (free() === 0) return false;
  const before = free();
  sqlite.pragma(`incremental_vacuum(${PAGES_GIVEN_BACK})`);
  const after = free();
  return after > 0 && after < before; // a store that was never written anew gives nothing back
}
