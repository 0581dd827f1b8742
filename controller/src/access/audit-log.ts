import { appendFileSync, mkdirSync, readFileSync, renameSync, statSync } from "node:fs";
import path from "node:path";
import type { AuditEntry } from "@dyetrace/wire/console/console-session";
import type { Logger } from "pino";

/** Beyond this the log begins anew and the file before it is kept once. */
const MOST_BYTES = 8 * 1024 * 1024;
const KEPT_IN_MEMORY = 1000;

/** Who started what where, one JSON object a line, in `audit.jsonl` of the data folder. */
export class AuditLog {
  readonly #file: string | null;
  readonly #log: Logger;
  readonly #latest: AuditEntry[];

  /** @param folder null keeps the latest entries in memory alone */
  constructor(folder: string | null, log: Logger) {
    this.#file = folder === null ? null : path.join(folder, "audit.jsonl");
    this.#log = log;
    this.#latest = this.#file === null ? [] : readLatest(this.#file);
  }

  /** A disk that takes no entry stops nobody: the entry goes to the program's own log as well. */
  note(who: string, from: string, what: string): void {
    const entry: AuditEntry = { at: new Date().toISOString(), who, from, what };
    this.#latest.push(entry);
    if (this.#latest.length > KEPT_IN_MEMORY) this.#latest.shift();
    this.#log.info({ who, from }, what);
    if (this.#file === null) return;
    try {
      mkdirSync(path.dirname(this.#file), { recursive: true, mode: 0o700 });
      if ((statSync(this.#file, { throwIfNoEntry: false })?.size ?? 0) > MOST_BYTES) {
        renameSync(this.#file, `${this.#file}.1`);
      }
      appendFileSync(this.#file, `${JSON.stringify(entry)}\n`, { mode: 0o600 });
    } catch (err) {
      this.#log.error({ err, ...entry }, "the audit log takes no entries");
    }
  }

  /** Newest first. */
  list(most: number): readonly AuditEntry[] {
    return this.#latest.slice(-most).reverse();
  }
}

function readLatest(file: string): AuditEntry[] {
  let text: string;
  try {
    text = readFileSync(file, "utf8");
  } catch {
    return []; // none yet
  }
  return text
    .split("\n")
    .slice(-KEPT_IN_MEMORY - 1)
    .flatMap((line) => {
      try {
        return [JSON.parse(line) as AuditEntry];
      } catch {
        return []; // the last line of a controller that was killed as it wrote
      }
    });
}
