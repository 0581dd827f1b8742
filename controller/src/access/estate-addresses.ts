import { Fault } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { AccessBook } from "./access-book.ts";
import type { ControllerRecord } from "./access-records.ts";
import type { ControllerAddress } from "./enrol-line.ts";

const AGAIN_MS = 24 * 3600e3;
/** A controller that was not there for so long is not told any more: each address that is gone costs a host a try. */
const FORGOTTEN_AFTER_MS = 30 * 24 * 3600e3;
/** As many as a host keeps. */
const MOST_CONTROLLERS = 16;

/** Where the controllers are that share one book: each writes its own address there, and tells hosts that enrol of all. */
export class EstateAddresses implements Disposable {
  readonly #book: AccessBook;
  readonly #own: ControllerAddress | null;
  readonly #log: Logger;
  readonly #again: NodeJS.Timeout;

  /** @param own null: nobody knows how hosts reach this one */
  constructor(book: AccessBook, own: ControllerAddress | null, log: Logger) {
    this.#book = book;
    this.#own = own;
    this.#log = log;
    this.#announce();
    this.#again = setInterval(() => this.#announce(), AGAIN_MS);
    this.#again.unref();
  }

  get all(): readonly ControllerAddress[] {
    return this.#book.records.controllers.map(({ url, pin }) => ({ url, pin }));
  }

  [Symbol.dispose](): void {
    clearInterval(this.#again);
  }

  #announce(): void {
    const own = this.#own;
    if (own === null) return;
    try {
      this.#book.change(({ controllers }) => ({ controllers: withController(controllers, own, Date.now()) }));
    } catch (err) {
      if (!(err instanceof Fault)) throw err;
      this.#log.warn({ err }, "hosts that enrol at other controllers are not told of this one");
    }
  }
}

/** The newest first. Pure. */
export function withController(
  known: readonly ControllerRecord[],
  { url, pin }: ControllerAddress,
  nowMs: number,
): readonly ControllerRecord[] {
  const others = known.filter((one) => one.url !== url && nowMs - Date.parse(one.seen) < FORGOTTEN_AFTER_MS);
  return [{ url, pin, seen: new Date(nowMs).toISOString() }, ...others].slice(0, MOST_CONTROLLERS);
}
