import { existsSync } from "node:fs";
import { userInfo } from "node:os";
import { Fault } from "@dyetrace/wire";
import { AccessBook } from "../access/access-book.ts";
import { AuditFile } from "../audit/audit-file.ts";
import { openStore } from "../store/store.ts";
import { type StoreOptions, storePlace } from "./arguments/store-place.ts";

export interface BookOptions extends StoreOptions {
  readonly data: string;
}

/**
 * Opens who may do what: in the database where one is named, which controllers share, or else in the data folder.
 * @param isMade a folder that is not there is made @throws {Fault} FILE_UNREADABLE, STORE_…
 */
export async function withBook<T>(
  options: BookOptions,
  isMade: boolean,
  work: (book: AccessBook) => T | Promise<T>,
): Promise<T> {
  const place = storePlace(options);
  if (place.kind !== "postgres") return work(isMade ? new AccessBook(options.data) : bookIn(options.data));
  await using store = await openStore(place);
  await using shared = await store.openAccess();
  if (shared === null) throw new Error("a PostgreSQL database is shared");
  return await work(new AccessBook(shared));
}

/** @throws {Fault} FILE_UNREADABLE where there is no such folder: a mistyped one would be made in silence */
export function bookIn(folder: string): AccessBook {
  if (existsSync(folder)) return new AccessBook(folder);
  throw new Fault("FILE_UNREADABLE", `There is no data folder ${folder}`, "Name the controller's with --data");
}

/** In the trail of the controller on this machine; where there is none the database's name stands in no trail. */
export function noteInTrail({ data }: BookOptions, deed: string): void {
  if (existsSync(data)) noteDeed(data, deed);
}

/**
 * Puts what a command did beside a controller into its trail. Where that takes no entry the deed stands, and that is said.
 * @param folder the controller's data folder
 */
export function noteDeed(folder: string, what: string): void {
  try {
    new AuditFile(folder).append({ at: new Date().toISOString(), who: userHere(), from: "command line", what });
  } catch (error) {
    process.stderr.write(`The trail of who did what takes no entries: ${String(error)}\n`);
  }
}

/** Whom the system knows, and who became root by sudo; the latter is that program's word. */
export function userHere(): string {
  const behind = process.env["SUDO_USER"];
  return `${nameOfUser()}${behind === undefined ? "" : ` (sudo by ${behind.slice(0, 64)})`} on this machine`;
}

function nameOfUser(): string {
  try {
    return userInfo().username;
  } catch {
    return `user ${process.getuid?.() ?? "unknown"}`; // one without an entry in passwd, as in containers
  }
}
