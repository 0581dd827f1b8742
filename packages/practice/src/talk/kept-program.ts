import { setTimeout as sleep } from "node:timers/promises";
import type { PracticeHost } from "../host/practice-host.ts";
import type { PracticeProcess } from "../host/practice-process.ts";

/** From an end to the next start: a program that can't run does not keep the machine busy. */
const PAUSE_MS = 500;
const LAST_WORDS = 3;

/** A program of the site that is started again whenever it ends, until the site does. */
export class KeptProgram {
  readonly #host: PracticeHost;
  readonly #argv: readonly string[];
  readonly #env: Readonly<Record<string, string>>;
  readonly #onLine: (line: string) => void;
  #process: PracticeProcess | null = null;
  #words: readonly string[] = [];
  #starts = 0;

  constructor(
    host: PracticeHost,
    argv: readonly string[],
    env: Readonly<Record<string, string>> = {},
    onLine: (line: string) => void = () => {},
  ) {
    this.#host = host;
    this.#argv = argv;
    this.#env = env;
    this.#onLine = onLine;
  }

  /** What it said last. */
  get words(): string {
    return this.#words.join(" ").trim();
  }

  get starts(): number {
    return this.#starts;
  }

  /** @throws {Fault} PRACTICE_FAILED if there is no such program */
  async start(): Promise<void> {
    const onLine = (line: string): void => {
      this.#words = [...this.#words, line].slice(-LAST_WORDS);
      this.#onLine(line);
    };
    const started = await this.#host.spawn(this.#argv, { env: this.#env, onLine });
    this.#process = started;
    this.#starts++;
    void started.exit.then(() => this.#startAgain(started));
  }

  /** Ends it without a farewell: an `lldpd` would tell its neighbours that it goes. */
  restart(): void {
    this.#process?.signal("SIGKILL");
  }

  async #startAgain(ended: PracticeProcess): Promise<void> {
    ended.signal("SIGKILL"); // what it started may have outlived it
    await sleep(PAUSE_MS, undefined, { ref: false });
    if (this.#host.isEnding) return;
    // A site that goes meanwhile needs it no more.
    await this.start().catch(() => undefined);
  }
}
