import { Worker } from "node:worker_threads";
import { Fault, type WatcherReport } from "@dyetrace/wire";
import { queryInterface } from "../sockets/linux/interface-query.ts";
import { isLinuxSupported } from "../sockets/linux/libc.ts";
import type { KeptHeaders } from "./header-keep.ts";
import type { InterfaceSight } from "./look/interface-look.ts";
import {
  type FromWatcher,
  type HeaderAsk,
  type ToWatcher,
  WATCHER_PROTOCOL,
  type WatcherSetup,
  type WatchPlan,
} from "./watcher-protocol.ts";
import { watcherUnable } from "./watcher-unable.ts";

/**
 * Watches one interface for as long as the agent lives, so that a run knows which queries came in the minutes before
 * it. A watcher that cannot see is no failure: `inability` says why, and every snapshot is null.
 */
export interface Watcher {
  /** Null while it watches. May become a fault later, when the interface is taken away. */
  readonly inability: Fault | null;
  /** Counts the frames of these streams from now on, anew. */
  watch(plan: WatchPlan): Promise<void>;
  /** What was seen since the last snapshot, or since `watch`. @returns null when this host cannot watch */
  snapshot(): Promise<WatcherReport | null>;
  /** Looks at everything multicast that passes, beside whatever it watches, until `endLook`. */
  beginLook(): Promise<void>;
  /** @returns what was seen since `beginLook`; null when this host cannot watch, or no look was on */
  endLook(): Promise<InterfaceSight | null>;
  /** Hands over the headers that were kept of a run. @returns null where none were kept */
  readHeaders(ask: HeaderAsk): Promise<KeptHeaders | null>;
  /** Ends the thread and restores the network card's filter. Idempotent. */
  close(): Promise<void>;
}

/** Resolves once the watcher watches, or is known not to be able to. */
export async function openWatcher(options: { readonly interfaceName: string }): Promise<Watcher> {
  const { interfaceName } = options;
  if (!isLinuxSupported()) {
    return new BlindWatcher(
      new Fault(
        "NEEDS_LINUX",
        `Cannot watch frames on ${interfaceName}: this needs packet sockets of 64-bit Linux`,
        "Without it this agent cannot see queries, reports or traffic that nobody here joined.",
      ),
    );
  }
  const queried = queryInterface(interfaceName);
  if (queried === null) {
    return new BlindWatcher(
      new Fault(
        "INTERFACE_UNKNOWN",
        `Cannot watch frames on ${interfaceName}: there is no such interface`,
        "Name one of the interfaces that `ip link` shows.",
      ),
    );
  }
  const watcher = new ThreadWatcher({ interfaceName, interfaceIndex: queried.index });
  await watcher.opened;
  return watcher;
}

class BlindWatcher implements Watcher {
  readonly inability: Fault;

  constructor(inability: Fault) {
    this.inability = inability;
  }

  async watch(): Promise<void> {}

  async snapshot(): Promise<null> {
    return null;
  }

  async beginLook(): Promise<void> {}

  async endLook(): Promise<null> {
    return null;
  }

  async readHeaders(): Promise<null> {
    return null;
  }

  async close(): Promise<void> {}
}

/** A request with `id` left out. */
type Request = ToWatcher extends infer One ? (One extends ToWatcher ? Omit<One, "id"> : never) : never;

interface Answer {
  readonly report?: WatcherReport;
  readonly sight?: InterfaceSight | null;
  readonly headers?: KeptHeaders | null;
}

class ThreadWatcher implements Watcher {
  inability: Fault | null = null;
  readonly opened: Promise<void>;
  readonly #worker: Worker;
  readonly #interfaceName: string;
  readonly #ended: Promise<void>;
  /** What answers come for; each is called with null when the thread ends without one. */
  readonly #waiting = new Map<number, (answer: Answer) => void>();
  #nextId = 0;
  #hasEnded = false;

  constructor(setup: WatcherSetup) {
    this.#interfaceName = setup.interfaceName;
    this.#worker = new Worker(new URL("./watcher-worker.js", import.meta.url), { workerData: setup });
    this.#ended = new Promise((resolve) => {
      this.#worker.once("exit", () => {
        this.#hasEnded = true;
        for (const id of [...this.#waiting.keys()]) this.#answer(id, {});
        resolve();
      });
    });
    const said = new Promise<void>((resolve) => {
      this.#worker.on("message", (message: FromWatcher) => {
        this.#hear(message);
        resolve(); // whatever comes first says whether it can watch
      });
    });
    this.opened = Promise.race([said, this.#ended]);
    this.#worker.on("error", (cause) => {
      this.inability = watcherUnable(this.#interfaceName, cause);
    });
  }

  async watch(plan: WatchPlan): Promise<void> {
    await this.#ask({ kind: "watch", plan });
  }

  async snapshot(): Promise<WatcherReport | null> {
    return (await this.#ask({ kind: "snapshot" })).report ?? null;
  }

  async beginLook(): Promise<void> {
    await this.#ask({ kind: "begin-look" });
  }

  async endLook(): Promise<InterfaceSight | null> {
    return (await this.#ask({ kind: "end-look" })).sight ?? null;
  }

  async readHeaders(ask: HeaderAsk): Promise<KeptHeaders | null> {
    return (await this.#ask({ kind: "read-headers", ask })).headers ?? null;
  }

  async close(): Promise<void> {
    await this.#ask({ kind: "stop" });
    await this.#ended;
  }

  #ask(request: Request): Promise<Answer> {
    if (this.#hasEnded || this.inability !== null) return Promise.resolve({});
    const id = this.#nextId++;
    return new Promise((resolve) => {
      this.#waiting.set(id, resolve);
      this.#worker.postMessage({ ...request, id } as ToWatcher);
    });
  }

  #hear(message: FromWatcher): void {
    switch (message.kind) {
      case "ready":
        if (message.protocol !== WATCHER_PROTOCOL) throw new Error(`The watcher's thread speaks ${message.protocol}`);
        return;
      case "unable":
        this.inability = new Fault(message.code, message.message, message.hint);
        return;
      case "done":
        this.#answer(message.id, {});
        return;
      case "report":
        this.#answer(message.id, { report: message.report });
        return;
      case "sight":
        this.#answer(message.id, { sight: message.sight });
        return;
      case "headers":
        this.#answer(message.id, { headers: message.headers });
        return;
    }
  }

  #answer(id: number, answer: Answer): void {
    this.#waiting.get(id)?.(answer);
    this.#waiting.delete(id);
  }
}
