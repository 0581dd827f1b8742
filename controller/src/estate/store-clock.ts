import type { Store } from "../store/store.ts";

const ASK_MS = 1000;
/** So long without an answer and the store is not reachable. */
const SILENT_MS = 5000;

/**
 * The clock of the store, which several controllers have in common, and whether the store answers. Between two answers it goes on
 * by this process's monotonic clock; of an embedded store it is this machine's.
 */
export class StoreClock implements Disposable {
  readonly #store: Store;
  readonly #asking: NodeJS.Timeout;
  #offsetMs: number | null = null;
  #answeredMs = Number.NEGATIVE_INFINITY;
  #isAsking = false;

  constructor(store: Store) {
    this.#store = store;
    this.#asking = setInterval(() => void this.ask(), ASK_MS);
    this.#asking.unref();
  }

  /** ms since 1970 */
  now(): number {
    if (this.#store.isPrivate || this.#offsetMs === null) return Date.now();
    return performance.now() + this.#offsetMs;
  }

  get isReachable(): boolean {
    return performance.now() - this.#answeredMs < SILENT_MS;
  }

  async ask(): Promise<void> {
    if (this.#isAsking) return;
    this.#isAsking = true;
    const askedMs = performance.now();
    try {
      const atMs = await this.#store.clockMs();
      const answeredMs = performance.now();
      this.#offsetMs = atMs - (askedMs + answeredMs) / 2;
      this.#answeredMs = answeredMs;
    } catch {
      // Whoever asks for it is told that it does not answer.
    } finally {
      this.#isAsking = false;
    }
  }

  [Symbol.dispose](): void {
    clearInterval(this.#asking);
  }
}
