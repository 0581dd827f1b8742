import { existsSync } from "node:fs";
import { Fault } from "@dyetrace/wire";
import { AccessBook } from "../access/access-book.ts";
import { openStore } from "../store/store.ts";
import { type StoreOptions, storePlace } from "./arguments/store-place.ts";
import { noteDeed } from "./note-deed.ts";

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
