import { setImmediate } from "node:timers/promises";
import type { AuditEntry } from "@dyetrace/wire/console/console-session";
import type { Logger } from "pino";
import { type ChainCheck, chainChecker } from "./audit-chain.ts";
import { AuditFile } from "./audit-file.ts";
import { RefusalCount } from "./refusal-count.ts";

/** What is counted for whoever watches this controller. */
const SECURITY_EVENTS = [
  "signed-in",
  "sign-in-refused",
  "request-refused",
  "too-many-requests",
  "enrolled",
  "enrolment-refused",
  "agent-refused",
  "credential-renewed",
  "replaced-credential-shown",
  "token-added",
  "token-removed",
  "token-first-used",
  "token-refused",
  "connection-dropped",
] as const;
export type SecurityEvent = (typeof SECURITY_EVENTS)[number];

/** Who is named where nobody has proved who they are. */
export const NOBODY = "nobody";

const KEPT_IN_MEMORY = 1000;
const LOOK_MS = 5000;
/** A few milliseconds. */
const LINES_AT_ONCE = 500;

/** Who did what where: in the data folder, each entry chained to the one before, and the latest of them in memory. */
export class AuditLog implements Disposable {
  readonly #file: AuditFile | null;
  readonly #log: Logger;
  readonly #refusals = new RefusalCount();
  readonly #events = new Map<SecurityEvent, number>(SECURITY_EVENTS.map((event) => [event, 0]));
  readonly #looking: NodeJS.Timeout;
  #latest: AuditEntry[] = [];
  #stamp = "";

  /** @param folder null keeps the latest entries in memory alone */
  constructor(folder: string | null, log: Logger) {
    this.#file = folder === null ? null : new AuditFile(folder);
    this.#log = log;
    this.#looking = setInterval(() => this.#tellRefusals(false), LOOK_MS);
    this.#looking.unref();
  }

  /** A disk that takes no entry stops nobody: the entry goes to the program's own log as well, with its hash. */
  note(who: string, from: string, what: string): void {
    const entry: AuditEntry = { at: new Date().toISOString(), who, from, what };
    this.#latest.push(entry);
    if (this.#latest.length > KEPT_IN_MEMORY) this.#latest.shift();
    if (this.#file === null) {
      this.#log.info({ who, from }, what);
      return;
    }
    try {
      const { number, hash } = this.#file.append(entry);
      this.#log.info({ who, from, number, hash }, what);
    } catch (err) {
      this.#log.error({ err, ...entry }, "the audit log takes no entries");
    }
  }

  /**
   * Something that somebody was kept from doing. The first of a kind is an entry; those that follow are counted.
   * @param who an operator, or `NOBODY`; never a word that was only claimed
   * @param kind nothing in it is chosen by who was refused
   * @param inFull what the first entry says instead of the kind
   */
  refuse(who: string, from: string, kind: string, inFull: string = kind): void {
    if (this.#refusals.add(who, kind, from, Date.now())) this.note(who, from, inFull);
  }

  count(event: SecurityEvent): void {
    this.#events.set(event, (this.#events.get(event) ?? 0) + 1);
  }

  get events(): ReadonlyMap<SecurityEvent, number> {
    return this.#events;
  }

  /** Newest first; commands on this machine may have written since. */
  list(most: number): readonly AuditEntry[] {
    const stamp = this.#file?.stamp ?? "";
    if (this.#file !== null && stamp !== this.#stamp) {
      this.#latest = [...this.#file.latest(KEPT_IN_MEMORY)];
      this.#stamp = stamp;
    }
    return this.#latest.slice(-most).reverse();
  }

  /** Every line that is kept, oldest first. */
  lines(): Iterable<string> {
    return this.#file?.lines() ?? [];
  }

  /** The same; where no file is kept, what memory has of it, without hashes. */
  linesOrLatest(): Iterable<string> {
    return this.#file?.lines() ?? this.#latest.map((entry) => JSON.stringify(entry));
  }

  /** A little at a time: all that is kept takes a second, and runs go on meanwhile. */
  async check(): Promise<ChainCheck> {
    const checker = chainChecker();
    let taken = 0;
    for (const line of this.lines()) {
      checker.take(line);
      if (++taken % LINES_AT_ONCE === 0) await setImmediate();
    }
    return checker.told();
  }

  [Symbol.dispose](): void {
    clearInterval(this.#looking);
    this.#tellRefusals(true);
  }

  #tellRefusals(isEnd: boolean): void {
    for (const { who, from, what } of this.#refusals.take(Date.now(), isEnd)) this.note(who, from, what);
  }
}
