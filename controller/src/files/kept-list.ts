import { chmodSync, existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { underLock } from "./under-lock.ts";
import { writeWhole } from "./write-whole.ts";

const OWNER_ALONE = 0o600;

/** How a list stands in its file, and what is said where it cannot be had. */
export interface ListForm<Entry> {
  /** @throws where the value is no such list; its words go nowhere, for they may quote a secret */
  readonly parse: (value: unknown, file: string) => readonly Entry[];
  /** What JSON is made of. */
  readonly wrap: (entries: readonly Entry[]) => unknown;
  /** Spaces before each level of the JSON; 0: one line. */
  readonly indent: number;
  readonly damaged: (file: string) => Fault;
  readonly unreadable: (file: string, deed: "read" | "written", cause: unknown) => Fault;
}

/**
 * A list in one file of the data folder, which its owner alone may read, and which controllers that share the folder change one after
 * the other. Read anew each time, for another one may have changed it.
 */
export class KeptList<Entry> {
  readonly #file: string | null;
  readonly #form: ListForm<Entry>;
  #kept: readonly Entry[] = [];

  /** @param folder null keeps the list in memory, as long as this controller lives */
  constructor(folder: string | null, name: string, form: ListForm<Entry>) {
    this.#file = folder === null ? null : path.join(folder, name);
    this.#form = form;
  }

  /** @throws {Fault} what the form says */
  read(): readonly Entry[] {
    const file = this.#file;
    if (file === null) return this.#kept;
    if (!existsSync(file)) return [];
    let value: unknown;
    try {
      chmodSync(file, OWNER_ALONE); // whoever put it back from a copy may have left it open
      value = JSON.parse(readFileSync(file, "utf8"));
    } catch (cause) {
      // A parser's own words quote what it met.
      throw cause instanceof SyntaxError ? this.#form.damaged(file) : this.#form.unreadable(file, "read", cause);
    }
    try {
      return this.#form.parse(value, file);
    } catch {
      throw this.#form.damaged(file);
    }
  }

  /** @throws {Fault} what `edit` throws, then nothing is changed; and what the form says */
  change(edit: (before: readonly Entry[]) => readonly Entry[]): void {
    const file = this.#file;
    if (file === null) {
      this.#kept = edit(this.#kept);
      return;
    }
    try {
      mkdirSync(path.dirname(file), { recursive: true, mode: 0o700 });
      underLock(file, () => {
        const text = `${JSON.stringify(this.#form.wrap(edit(this.read())), null, this.#form.indent)}\n`;
        writeWhole(file, text, { mode: OWNER_ALONE, isFolderOwners: true });
      });
    } catch (cause) {
      throw cause instanceof Fault ? cause : this.#form.unreadable(file, "written", cause);
    }
  }
}
