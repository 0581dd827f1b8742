import { existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import Type from "@dyetrace/schema";
import { parseAs } from "@dyetrace/wire";
import { writeWhole } from "../files/write-whole.ts";

interface Use {
  /** ISO 8601 */
  readonly at: string;
  readonly from: string;
}
type Uses = Readonly<Record<string, Use>>;

const UsesSchema = Type.Record(
  Type.String(),
  Type.Object({ at: Type.String({ maxLength: 40 }), from: Type.String({ maxLength: 64 }) }),
);

const WRITE_EVERY_MS = 60_000;

/**
 * When each token was last used, and from where. Written down once a minute at most: a scraper comes every few seconds, and the
 * file of who may do what is not to be written for that. After a power cut the last minute is missing.
 */
export class TokenUses implements Disposable {
  readonly #file: string | null;
  readonly #uses: Map<string, Use>;
  readonly #writing: NodeJS.Timeout;
  #isChanged = false;

  /** @param folder null keeps them in memory */
  constructor(folder: string | null) {
    this.#file = folder === null ? null : path.join(folder, "token-uses.json");
    this.#uses = new Map(Object.entries(read(this.#file)));
    this.#writing = setInterval(() => this.#write(), WRITE_EVERY_MS);
    this.#writing.unref();
  }

  /** @param id of the token @returns null: none is known */
  of(id: string): Use | null {
    return this.#uses.get(id) ?? null;
  }

  /** @returns whether it is the first that is known */
  note(id: string, from: string, nowMs: number): boolean {
    const isFirst = !this.#uses.has(id);
    this.#uses.set(id, { at: new Date(nowMs).toISOString(), from });
    this.#isChanged = true;
    if (isFirst) this.#write();
    return isFirst;
  }

  /** Forgets tokens that are no more. @param ids of those that there are */
  keepOnly(ids: ReadonlySet<string>): void {
    for (const id of this.#uses.keys()) {
      if (ids.has(id)) continue;
      this.#uses.delete(id);
      this.#isChanged = true;
    }
  }

  [Symbol.dispose](): void {
    clearInterval(this.#writing);
    this.#write();
  }

  #write(): void {
    if (!this.#isChanged || this.#file === null) return;
    try {
      mkdirSync(path.dirname(this.#file), { recursive: true, mode: 0o700 });
      writeWhole(this.#file, JSON.stringify(Object.fromEntries(this.#uses)), { mode: 0o600, isFolderOwners: true });
      this.#isChanged = false;
    } catch {
      // A full disk stops nobody who has a token; it is tried again.
    }
  }
}

/** What is damaged tells nothing; nothing depends on it. */
function read(file: string | null): Uses {
  if (file === null || !existsSync(file)) return {};
  try {
    return parseAs(UsesSchema, JSON.parse(readFileSync(file, "utf8")), "ACCESS_INVALID", file);
  } catch {
    return {};
  }
}
