/**
 * What the threads of a data plane must know at once, in memory that both see: a worker looks here between two packets
 * and needs nobody's event loop. A main thread that hangs stops writing `heard`, and the sources stop.
 */
export class SharedControl {
  readonly memory: SharedArrayBuffer;
  readonly #words: Int32Array;

  constructor(memory: SharedArrayBuffer = new SharedArrayBuffer(16)) {
    this.memory = memory;
    this.#words = new Int32Array(memory);
  }

  /** @param nowNs on the monotonic clock */
  hear(nowNs: number): void {
    Atomics.store(this.#words, 0, Math.floor(nowNs / 1e6) % WRAP_MS);
  }

  /** @returns how long ago the controller was heard, ns, to a millisecond */
  silentNs(nowNs: number): number {
    const elapsedMs = (Math.floor(nowNs / 1e6) % WRAP_MS) - Atomics.load(this.#words, 0);
    return (elapsedMs < -WRAP_MS / 2 ? elapsedMs + WRAP_MS : elapsedMs) * 1e6;
  }

  abort(): void {
    Atomics.store(this.#words, 1, 1);
  }

  get isAborted(): boolean {
    return Atomics.load(this.#words, 1) === 1;
  }

  /** Before each run. */
  reset(nowNs: number): void {
    Atomics.store(this.#words, 1, 0);
    this.hear(nowNs);
  }
}

/** Milliseconds since boot pass 2^31 after 24 days, so they wrap earlier, at a round figure. */
const WRAP_MS = 2_000_000_000;
