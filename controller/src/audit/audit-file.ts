import {
  closeSync,
  constants,
  existsSync,
  fstatSync,
  ftruncateSync,
  mkdirSync,
  openSync,
  readFileSync,
  readSync,
  renameSync,
  statSync,
  writeSync,
} from "node:fs";
import path from "node:path";
import type { AuditEntry } from "@dyetrace/wire/console/console-session";
import { openOwn } from "../files/open-own.ts";
import { underLock } from "../files/under-lock.ts";
import { type ChainedEntry, chainOn, readChained } from "./audit-chain.ts";

/** Beyond this a new file begins. */
const MOST_BYTES = 8 * 1024 * 1024;
/** Files that are kept beside the one that is written: `audit.jsonl.1` is the newest of them. */
const KEPT_FILES = 4;
/** As much of the end as holds the latest entry, and the latest thousand. */
const LAST_BYTES = 16 * 1024;
const END_BYTES = 1024 * 1024;

/** The file `audit.jsonl` of a data folder, which a controller and commands write by turns. */
export class AuditFile {
  readonly #file: string;

  readonly #mostBytes: number;

  constructor(folder: string, mostBytes: number = MOST_BYTES) {
    this.#file = path.join(folder, "audit.jsonl");
    this.#mostBytes = mostBytes;
  }

  /** Differs where another program has written since. */
  get stamp(): string {
    const stat = statSync(this.#file, { throwIfNoEntry: false });
    return stat === undefined ? "" : `${stat.ino} ${stat.size}`;
  }

  /** @throws {Error} the system's, such as ENOSPC; then the file is as it was */
  append(entry: AuditEntry): ChainedEntry {
    mkdirSync(path.dirname(this.#file), { recursive: true, mode: 0o700 });
    return underLock(this.#file, () => {
      const last = this.#last();
      this.#makeRoom();
      const handle = openOwn(this.#file, constants.O_APPEND);
      try {
        const chained = chainOn(last, entry);
        writeLine(handle, `${JSON.stringify(chained)}\n`);
        return chained;
      } finally {
        closeSync(handle);
      }
    });
  }

  /** The newest entries of the file that is written now, oldest first; such as stand in no chain too. */
  latest(most: number): readonly AuditEntry[] {
    return endOf(this.#file, END_BYTES)
      .slice(-most)
      .flatMap((line) => {
        try {
          const { at, who, from, what } = JSON.parse(line) as AuditEntry;
          return [{ at, who, from, what }];
        } catch {
          return []; // a line that a full disk has cut off
        }
      });
  }

  /** All lines that are kept, oldest first, as they are now: a file that is put aside meanwhile is read all the same. */
  *lines(): Generator<string> {
    const handles = this.#files()
      .toReversed()
      .map((file) => openSync(file, "r"));
    try {
      for (const handle of handles) {
        for (const line of readFileSync(handle, "utf8").split("\n")) if (line !== "") yield line;
      }
    } finally {
      for (const handle of handles) closeSync(handle);
    }
  }

  /** Newest first. */
  #files(): readonly string[] {
    const older = Array.from({ length: KEPT_FILES }, (_, index) => `${this.#file}.${index + 1}`);
    return [this.#file, ...older].filter((file) => existsSync(file));
  }

  #last(): ChainedEntry | null {
    for (const file of this.#files()) {
      for (const bytes of [LAST_BYTES, END_BYTES]) {
        for (const line of endOf(file, bytes).toReversed()) {
          const chained = readChained(line);
          if (chained !== null) return chained;
        }
      }
    }
    return null;
  }

  #makeRoom(): void {
    if ((statSync(this.#file, { throwIfNoEntry: false })?.size ?? 0) < this.#mostBytes) return;
    for (let number = KEPT_FILES; number > 1; number--) {
      if (existsSync(`${this.#file}.${number - 1}`))
        renameSync(`${this.#file}.${number - 1}`, `${this.#file}.${number}`);
    }
    renameSync(this.#file, `${this.#file}.1`);
  }
}

/** Whole or not at all, and on a line of its own. */
function writeLine(handle: number, line: string): void {
  const { size } = fstatSync(handle);
  const end = Buffer.alloc(1);
  const isTorn = size > 0 && readSync(handle, end, 0, 1, size - 1) === 1 && end[0] !== 0x0a;
  const bytes = Buffer.from(isTorn ? `\n${line}` : line);
  try {
    if (writeSync(handle, bytes) !== bytes.length) throw new Error("ENOSPC: the entry was not written whole");
  } catch (error) {
    ftruncateSync(handle, size);
    throw error;
  }
}

/** The last lines of a file; the first of them may be the end of one. */
function endOf(file: string, most: number): readonly string[] {
  if (!existsSync(file)) return [];
  const handle = openSync(file, "r");
  try {
    const { size } = fstatSync(handle);
    const bytes = Buffer.alloc(Math.min(size, most));
    readSync(handle, bytes, 0, bytes.length, size - bytes.length);
    const lines = bytes.toString("utf8").split("\n");
    return lines.slice(size > most ? 1 : 0).filter((line) => line !== "");
  } finally {
    closeSync(handle);
  }
}
