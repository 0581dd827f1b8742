import { EventEmitter, once } from "node:events";
import { MessageChannel, type MessagePort, receiveMessageOnPort, Worker } from "node:worker_threads";
import type { Kysely } from "kysely";
import type { StoreTables } from "./store-tables.ts";

/** A change waits this long for the database, without the event loop, as one of a file waits for its lock. */
const WITHIN_MS = 2000;
const LOOK_MS = 500;

/** As it was built, also where this file is read as it was written: a thread takes no TypeScript. */
const SCRIPT = new URL("../../dist/store/shared-access-worker.js", import.meta.url);

interface Answer {
  readonly text?: string | null;
  readonly version?: number;
  readonly error?: { readonly message: string; readonly code: string };
}

/**
 * Who may do what, as a text that several controllers share. What is read is a copy that is looked at twice a second; what is
 * changed is read, changed and written in one transaction, which the caller waits for: by then it is in the database.
 */
export class SharedAccess extends EventEmitter<{ changed: [] }> implements AsyncDisposable {
  readonly #db: Kysely<StoreTables>;
  readonly #worker: Worker;
  readonly #port: MessagePort;
  readonly #signal = new Int32Array(new SharedArrayBuffer(4));
  readonly #looking: NodeJS.Timeout;
  #version = 0;
  #text: string | null = null;

  private constructor(url: string, db: Kysely<StoreTables>) {
    super();
    this.#db = db;
    const { port1, port2 } = new MessageChannel();
    this.#port = port1;
    const workerData = { url, port: port2, signal: this.#signal };
    this.#worker = new Worker(SCRIPT, {
      workerData,
      transferList: [port2],
    });
    this.#worker.unref();
    this.#worker.on("error", () => undefined); // who asks gets no answer then
    this.#looking = setInterval(() => void this.look().catch(() => undefined), LOOK_MS);
    this.#looking.unref();
  }

  /** @throws what the database throws */
  static async open(url: string, db: Kysely<StoreTables>): Promise<SharedAccess> {
    const access = new SharedAccess(url, db);
    try {
      const failed = once(access.#worker, "error").then(([error]) => Promise.reject(error as Error));
      access.#port.start();
      await Promise.race([once(access.#port, "message"), failed]); // the thread has begun
      access.#port.unref();
      await access.look();
      return access;
    } catch (error) {
      await access[Symbol.asyncDispose]();
      throw error;
    }
  }

  /** Null: nothing has been written yet. */
  get text(): string | null {
    return this.#text;
  }

  get version(): number {
    return this.#version;
  }

  /** @throws what the database throws */
  async look(): Promise<void> {
    const row = await this.#db.selectFrom("shared_access").select("version").where("id", "=", 1).executeTakeFirst();
    if (row === undefined || row.version <= this.#version) return;
    const whole = await this.#db.selectFrom("shared_access").selectAll().where("id", "=", 1).executeTakeFirst();
    if (whole !== undefined) this.#learn(whole.body, whole.version);
  }

  /** @param edit what it throws is thrown on, and nothing has changed @throws {Error} with the database's code */
  change(edit: (text: string | null) => string): void {
    const { text = null } = this.#ask({ kind: "begin" });
    let next: string;
    try {
      next = edit(text);
    } catch (error) {
      this.#ask({ kind: "leave" });
      throw error;
    }
    const { version = 0 } = this.#ask({ kind: "write", text: next });
    this.#learn(next, version);
    this.emit("changed");
  }

  async [Symbol.asyncDispose](): Promise<void> {
    clearInterval(this.#looking);
    await this.#worker.terminate();
    this.#port.close();
  }

  #learn(text: string, version: number): void {
    if (version <= this.#version) return;
    this.#text = text;
    this.#version = version;
  }

  #ask(question: object): Answer {
    while (receiveMessageOnPort(this.#port) !== undefined); // answers that came too late
    Atomics.store(this.#signal, 0, 0);
    this.#port.postMessage(question);
    Atomics.wait(this.#signal, 0, 0, WITHIN_MS);
    const answer = receiveMessageOnPort(this.#port)?.message as Answer | undefined;
    if (answer === undefined) {
      this.#port.postMessage({ kind: "leave" });
      throw new Error("the database does not answer");
    }
    if (answer.error !== undefined) throw Object.assign(new Error(answer.error.message), { code: answer.error.code });
    return answer;
  }
}
