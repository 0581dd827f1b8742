/**
 * Who opens, closes: what has been opened so far, closed in reverse order when a later step fails and at shutdown alike.
 * Node 20 has no `AsyncDisposableStack`; this is the part of it that is needed here.
 */
export class Closers {
  readonly #open: (() => void | PromiseLike<void>)[] = [];
  #closing: Promise<void> | null = null;

  /** @param close run once, even if others before it fail */
  add(close: () => void | PromiseLike<void>): void {
    if (this.#closing !== null) throw new Error("Cannot open anything more: it is being closed");
    this.#open.push(close);
  }

  own<T extends AsyncDisposable | Disposable>(resource: T): T {
    this.add(() => (Symbol.asyncDispose in resource ? resource[Symbol.asyncDispose]() : resource[Symbol.dispose]()));
    return resource;
  }

  /**
   * Whoever calls it again waits for the same end.
   * @throws what the only one that failed threw, or an AggregateError of several, once all have run
   */
  close(): Promise<void> {
    this.#closing ??= this.#closeAll();
    return this.#closing;
  }

  async #closeAll(): Promise<void> {
    const failures: unknown[] = [];
    for (const close of this.#open.splice(0).reverse()) {
      try {
        await close();
      } catch (error) {
        failures.push(error);
      }
    }
    if (failures.length === 1) throw failures[0];
    if (failures.length > 1) throw new AggregateError(failures, `${failures.length} things could not be closed`);
  }
}

/**
 * Opens one thing after another, each with its closer. If a step fails, what the steps before it opened is closed first.
 * @param onTrouble told what could not be closed then; the step's own failure is what is thrown
 */
export async function openAll<T>(
  open: (closers: Closers) => Promise<T>,
  onTrouble: (error: unknown) => void,
): Promise<T> {
  const closers = new Closers();
  try {
    return await open(closers);
  } catch (error) {
    await closers.close().catch(onTrouble);
    throw error;
  }
}
