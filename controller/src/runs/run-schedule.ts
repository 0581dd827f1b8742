import type { Logger } from "pino";
import type { RunRecord } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";
import { failureOf, type RunShelf } from "./keep-run.ts";
import type { LateWrites } from "./late-writes.ts";

/** A timer holds no longer than this (2^31 ms, about 24 days); a later start is looked at again. */
const LONGEST_WAIT_MS = 2 ** 31 - 1;

/** Runs that are to start at a later time. They stand in the store, so a restarted controller knows of them. */
export class RunSchedule implements Disposable {
  readonly #store: Store;
  readonly #late: LateWrites;
  readonly #start: (record: RunRecord) => void;
  readonly #log: Logger;
  readonly #timers = new Map<string, NodeJS.Timeout>();

  /** @param start begins a run that stands in the store; may throw a `Fault` */
  constructor({ store, late }: RunShelf, start: (record: RunRecord) => void, log: Logger) {
    this.#store = store;
    this.#late = late;
    this.#start = start;
    this.#log = log;
  }

  /** Takes up what was scheduled before. What should have begun meanwhile begins now. */
  async takeUp(): Promise<void> {
    for (const record of await this.#store.runs.unfinished()) {
      if (record.state === "scheduled") this.arm(record);
    }
  }

  arm(record: RunRecord): void {
    const waitMs = Date.parse(record.startAt ?? record.createdAt) - Date.now();
    const timer = setTimeout(
      () => (waitMs > LONGEST_WAIT_MS ? this.arm(record) : void this.#begin(record)),
      Math.min(Math.max(0, waitMs), LONGEST_WAIT_MS),
    );
    this.#timers.set(record.runId, timer);
  }

  /** @returns false if it is not waiting here */
  cancel(runId: string): boolean {
    const timer = this.#timers.get(runId);
    clearTimeout(timer);
    return this.#timers.delete(runId);
  }

  async #begin(record: RunRecord): Promise<void> {
    this.#timers.delete(record.runId);
    try {
      this.#start(record);
    } catch (error) {
      this.#log.error({ err: error, runId: record.runId }, "scheduled run did not start");
      await this.#late.write(record.runId, () => this.#store.runs.failed(record.runId, failureOf(error)));
    }
  }

  [Symbol.dispose](): void {
    for (const timer of this.#timers.values()) clearTimeout(timer);
  }
}
