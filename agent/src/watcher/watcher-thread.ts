import { Worker } from "node:worker_threads";
import { Fault, type WatcherReport } from "@dyetrace/wire";
import { WORKER_LIMITS } from "../workers/worker-limits.ts";
import type { HandedWatch } from "./handed-watch.ts";
import type { KeptHeaders } from "./header-keep.ts";
import type { InterfaceSight } from "./look/interface-look.ts";
import {
  type FromWatcher,
  type HeaderAsk,
  type ToWatcher,
  WATCHER_PROTOCOL,
  type WatcherStart,
  type WatchPlan,
} from "./watcher-protocol.ts";
import { watcherUnable } from "./watcher-unable.ts";

/** A request with `id` left out. */
type Request = ToWatcher extends infer One ? (One extends ToWatcher ? Omit<One, "id"> : never) : never;

interface Answer {
  readonly report?: WatcherReport;
  readonly sight?: InterfaceSight | null;
  readonly headers?: KeptHeaders | null;
  readonly handed?: HandedWatch;
}

/** The main thread's end of the watcher's thread. */
export class WatcherThread {
  readonly #onUnable: (fault: Fault) => void;
  readonly opened: Promise<void>;
  readonly #worker: Worker;
  readonly #interfaceName: string;
  readonly #ended: Promise<void>;
  /** What answers come for; each is called with null when the thread ends without one. */
  readonly #waiting = new Map<number, (answer: Answer) => void>();
  #nextId = 0;
  #hasEnded = false;
  #isUnable = false;

  /** @param onUnable called where it cannot watch, or no longer */
  constructor(setup: WatcherStart, onUnable: (fault: Fault) => void) {
    this.#onUnable = onUnable;
    this.#interfaceName = setup.interfaceName;
    this.#worker = new Worker(new URL("./watcher-worker.js", import.meta.url), {
      workerData: setup,
      resourceLimits: WORKER_LIMITS,
    });
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
      this.#isUnable = true;
      this.#onUnable(watcherUnable(this.#interfaceName, cause));
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

  /** Ends the thread and takes the watch back. @returns null where the thread had none any more */
  async release(): Promise<HandedWatch | null> {
    const { handed = null } = await this.#ask({ kind: "release" });
    await this.#ended;
    return handed;
  }

  async close(): Promise<void> {
    await this.#ask({ kind: "stop" });
    await this.#ended;
  }

  #ask(request: Request): Promise<Answer> {
    if (this.#hasEnded || this.#isUnable) return Promise.resolve({});
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
        this.#isUnable = true;
        this.#onUnable(new Fault(message.code, message.message, message.hint));
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
      case "released":
        this.#answer(message.id, { handed: message.handed });
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
