import { Readable } from "node:stream";
import type { ConsoleEvent } from "@dyetrace/wire/console/console-event";

/** Consoles at the same time; beyond that the one that lags most is cut. */
const MOST_STREAMS = 256;
/** A console that lags this far behind is cut off; it comes back by itself and is told afresh how things stand. */
const MOST_WAITING_BYTES = 8 * 1024 * 1024;
/** The same for all of them together: those that lag most are cut until the others fit. */
const MOST_WAITING_IN_ALL_BYTES = 64 * 1024 * 1024;
/** What is handed to a connection at a time, which keeps a copy of its own, ciphered. */
const PIECE_BYTES = 64 * 1024;
/** A console takes silence for the controller's end after three of these. */
export const CONSOLE_BEAT_MS = 1000;

/** Tells every open console what happens, one JSON object a line. What all are told stands in memory once. */
export class ConsoleHub {
  /** Each with what cuts its connection: an end by a failure of the stream would be logged as one of ours. */
  readonly #streams = new Map<Readable, () => void>();
  readonly #hello: () => ConsoleEvent;
  readonly #beat: NodeJS.Timeout;
  /** How everything stands, until something happens. */
  #known: Buffer | null = null;

  /** @param hello how everything stands now */
  constructor(hello: () => ConsoleEvent) {
    this.#hello = hello;
    this.#beat = setInterval(() => this.#send(asLine({ kind: "beat" })), CONSOLE_BEAT_MS);
    this.#beat.unref();
  }

  /** @param cut ends the connection that reads it */
  open(cut: () => void): Readable {
    const stream: Readable = new Readable({
      read: () => {},
      destroy: (error, done) => {
        this.#streams.delete(stream);
        done(error);
      },
    });
    this.#known ??= asLine(this.#hello());
    this.#streams.set(stream, cut);
    push(stream, this.#known);
    this.#cutLaggers();
    return stream;
  }

  tell(event: ConsoleEvent): void {
    this.#known = null;
    if (this.#streams.size > 0) this.#send(asLine(event));
  }

  close(): void {
    clearInterval(this.#beat);
    for (const cut of [...this.#streams.values()]) cut();
  }

  #send(line: Buffer): void {
    for (const stream of this.#streams.keys()) push(stream, line);
    this.#cutLaggers();
  }

  #cutLaggers(): void {
    let waiting = 0;
    for (const { readableLength } of this.#streams.keys()) waiting += readableLength;
    const isFull = (): boolean => this.#streams.size > MOST_STREAMS || waiting > MOST_WAITING_IN_ALL_BYTES;
    if (!isFull() && ![...this.#streams.keys()].some(lagsTooFar)) return;
    // Of those that lag alike the one that came first goes first.
    for (const [stream, cut] of [...this.#streams].sort(([a], [b]) => b.readableLength - a.readableLength)) {
      if (!isFull() && !lagsTooFar(stream)) return;
      waiting -= stream.readableLength;
      this.#streams.delete(stream);
      cut();
    }
  }
}

const lagsTooFar = ({ readableLength }: Readable): boolean => readableLength > MOST_WAITING_BYTES;

function push(stream: Readable, line: Buffer): void {
  for (let at = 0; at < line.length; at += PIECE_BYTES) stream.push(line.subarray(at, at + PIECE_BYTES));
}

const asLine = (event: ConsoleEvent): Buffer => Buffer.from(`${JSON.stringify(event)}\n`);
