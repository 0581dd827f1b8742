import { Fault } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { Store } from "../store/store.ts";

const RETRY_MS = 5000;

/**
 * What is to be written down of a run. Where the store does not take it, for example because its disk is full, it is tried
 * again until it does or this controller ends; the next one then works the run out anew from what is stored of it.
 */
export class LateWrites implements AsyncDisposable {
  readonly #store: Pick<Store, "fault">;
  readonly #log: Logger;
  readonly #retryMs: number;
  /** By run: the newest that has not been written. An older one is overtaken by it. */
  readonly #waiting = new Map<string, () => Promise<void>>();
  #timer: NodeJS.Timeout | undefined;
  #isClosed = false;

  constructor(store: Pick<Store, "fault">, log: Logger, retryMs: number = RETRY_MS) {
    this.#store = store;
    this.#log = log;
    this.#retryMs = retryMs;
  }

  /** @returns why it could not be written yet; null: it was */
  async write(runId: string, write: () => Promise<void>): Promise<unknown> {
    this.#waiting.set(runId, write);
    return this.#try(runId, write);
  }

  async [Symbol.asyncDispose](): Promise<void> {
    this.#isClosed = true;
    clearTimeout(this.#timer);
    await this.#tryAll();
  }

  async #try(runId: string, write: () => Promise<void>): Promise<unknown> {
    try {
      await write();
      if (this.#waiting.get(runId) === write) this.#waiting.delete(runId);
      return null;
    } catch (error) {
      const err = this.#store.fault(error);
      if (err instanceof Fault && err.code === "RUN_ELSEWHERE") {
        // Whoever conducts it now writes what is to be written.
        this.#log.warn({ err, runId }, "what became of a run here is not written down");
        if (this.#waiting.get(runId) === write) this.#waiting.delete(runId);
        return err;
      }
      this.#log.error({ err, runId }, "what became of a run could not be stored; it is tried again");
      clearTimeout(this.#timer);
      if (!this.#isClosed) this.#timer = setTimeout(() => void this.#tryAll(), this.#retryMs);
      return err;
    }
  }

  async #tryAll(): Promise<void> {
    for (const [runId, write] of [...this.#waiting]) {
      if (this.#waiting.get(runId) === write) await this.#try(runId, write);
    }
  }
}
