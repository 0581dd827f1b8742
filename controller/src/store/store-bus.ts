import { randomBytes } from "node:crypto";
import { EventEmitter } from "node:events";
import pg from "pg";

export interface BusEvents {
  /** One whole message of another controller; or of this one, where `from` is its own. */
  message: [from: string, value: unknown];
  /** What was said meanwhile is not known: the connection stands anew. */
  resumed: [];
}

const CHANNEL = "dyetrace";
/** PostgreSQL takes fewer than 8000 bytes in one notification (its documentation of NOTIFY). */
const PART_CHARACTERS = 7000;
/** Whatever is larger is left out: it stands in the store, or is of this second alone. */
const MOST_PARTS = 64;
const AGAIN_MS = 1000;
/** A connection that says nothing is asked this often, so that a dead one is noticed. */
const ASK_MS = 5000;
const MOST_HALF_MESSAGES = 64;

/**
 * What controllers that share a database tell each other, by LISTEN and NOTIFY. It makes them quick, and nothing rests on it:
 * what must not be missed stands in the tables, and is looked at every few seconds.
 */
export class StoreBus extends EventEmitter<BusEvents> implements AsyncDisposable {
  readonly #url: string;
  readonly #notify: (payload: string) => Promise<unknown>;
  readonly #halves = new Map<string, string[]>();
  #client: pg.Client | null = null;
  #again: NodeJS.Timeout | undefined;
  readonly #asking: NodeJS.Timeout;
  #isClosed = false;

  /** @param notify hands a payload to the channel */
  constructor(url: string, notify: (channel: string, payload: string) => Promise<unknown>) {
    super();
    this.#url = url;
    this.#notify = (payload) => notify(CHANNEL, payload);
    this.#asking = setInterval(() => void this.#client?.query("select 1").catch(() => undefined), ASK_MS);
    this.#asking.unref();
    void this.#listen();
  }

  get isListening(): boolean {
    return this.#client !== null;
  }

  /** Best effort. @returns whether it went out */
  async publish(from: string, value: unknown): Promise<boolean> {
    const text = asAscii(JSON.stringify(value));
    const of = Math.max(1, Math.ceil(text.length / PART_CHARACTERS));
    if (of > MOST_PARTS || this.#isClosed) return false;
    const id = randomBytes(6).toString("hex");
    try {
      for (let part = 0; part < of; part++) {
        const piece = text.slice(part * PART_CHARACTERS, (part + 1) * PART_CHARACTERS);
        await this.#notify(`${from} ${id} ${part} ${of} ${piece}`);
      }
      return true;
    } catch {
      return false;
    }
  }

  async [Symbol.asyncDispose](): Promise<void> {
    this.#isClosed = true;
    clearTimeout(this.#again);
    clearInterval(this.#asking);
    await this.#client?.end().catch(() => undefined);
  }

  async #listen(): Promise<void> {
    const client = new pg.Client({ connectionString: this.#url, connectionTimeoutMillis: 5000, keepAlive: true });
    let isOver = false;
    const lost = (): void => {
      if (isOver) return;
      isOver = true;
      this.#client = null;
      void client.end().catch(() => undefined);
      if (!this.#isClosed) this.#again = setTimeout(() => void this.#listen(), AGAIN_MS);
    };
    client.on("error", lost);
    client.on("end", lost);
    client.on("notification", ({ payload }) => this.#take(payload ?? ""));
    try {
      await client.connect();
      await client.query(`listen ${CHANNEL}`);
      if (this.#isClosed) return lost();
      this.#client = client;
      this.#halves.clear();
      this.emit("resumed");
    } catch {
      lost();
    }
  }

  #take(payload: string): void {
    const [, from = "", id = "", part = "", of = "", piece = ""] =
      /^(\S+) (\S+) ([0-9]{1,3}) ([0-9]{1,3}) (.*)$/s.exec(payload) ?? [];
    if (from === "") return;
    const key = `${from} ${id}`;
    const pieces = this.#halves.get(key) ?? [];
    // They come in the order in which they were sent, by one connection of a pool or by several.
    pieces[Number(part)] = piece;
    if (Object.keys(pieces).length < Number(of)) {
      this.#halves.set(key, pieces);
      const [oldest] = this.#halves.keys();
      if (this.#halves.size > MOST_HALF_MESSAGES && oldest !== undefined) this.#halves.delete(oldest);
      return;
    }
    this.#halves.delete(key);
    let value: unknown;
    try {
      value = JSON.parse(pieces.join(""));
    } catch {
      return;
    }
    this.emit("message", from, value);
  }
}

/** A character, a byte: no part ends within one. */
const asAscii = (json: string): string =>
  json.replaceAll(/[\u0080-\uffff]/g, (unit) => `\\u${unit.charCodeAt(0).toString(16).padStart(4, "0")}`);
