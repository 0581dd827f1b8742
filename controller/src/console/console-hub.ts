import { Readable } from "node:stream";
import type { ConsoleEvent } from "@dyetrace/wire/console/console-event";

/** A console that lags this far behind is cut off; it comes back by itself and is told afresh how things stand. */
const MOST_WAITING_BYTES = 8 * 1024 * 1024;
/** A console takes silence for the controller's end after three of these. */
export const CONSOLE_BEAT_MS = 1000;

/** Tells every open console what happens, one JSON object a line. */
export class ConsoleHub {
  readonly #streams = new Set<Readable>();
  readonly #beat: NodeJS.Timeout;

  constructor() {
    this.#beat = setInterval(() => this.tell({ kind: "beat" }), CONSOLE_BEAT_MS);
    this.#beat.unref();
  }

  /** @param hello how everything stands now */
  open(hello: ConsoleEvent): Readable {
    const stream: Readable = new Readable({
      read: () => {},
      destroy: (error, done) => {
        this.#streams.delete(stream);
        done(error);
      },
    });
    this.#streams.add(stream);
    stream.push(asLine(hello));
    return stream;
  }

  tell(event: ConsoleEvent): void {
    if (this.#streams.size === 0) return;
    const line = asLine(event);
    for (const stream of [...this.#streams]) {
      if (stream.readableLength > MOST_WAITING_BYTES) stream.destroy();
      else stream.push(line);
    }
  }

  close(): void {
    clearInterval(this.#beat);
    for (const stream of [...this.#streams]) stream.destroy();
  }
}

const asLine = (event: ConsoleEvent): string => `${JSON.stringify(event)}\n`;
