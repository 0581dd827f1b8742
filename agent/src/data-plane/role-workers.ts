import type { AgentCapabilities } from "@dyetrace/wire";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import { type WorkerEvents, WorkerLink } from "./worker-link.ts";

export type Role = "sender" | "listener" | "follower";

/** The programs of the threads, by role and kind of sockets. */
const WORKERS = {
  sender: { linux: "../sender/linux-sender-worker.js", portable: "../sender/portable-sender-worker.js" },
  listener: { linux: "../listener/linux-listener-worker.js", portable: "../listener/portable-listener-worker.js" },
  /** A listener that is handed whole packets. */
  follower: { linux: "../listener/linux-follower-worker.js", portable: "../listener/portable-listener-worker.js" },
} as const satisfies Readonly<Record<Role, Readonly<Record<AgentCapabilities["sockets"], string>>>>;

/** No run for so long: a thread costs some 10 MB, and is started again in a moment. */
const REST_AFTER_MS = 30_000;

/** The threads of a data plane: each is started when a run first needs it, and ended when none did for a while. */
export class RoleWorkers {
  readonly #sockets: AgentCapabilities["sockets"];
  #setup: WorkerSetup;
  #isOutdated = false;
  readonly #eventsOf: (role: Role) => WorkerEvents;
  readonly #workers = new Map<Role, Promise<WorkerLink>>();
  #timer: NodeJS.Timeout | undefined;

  constructor(sockets: AgentCapabilities["sockets"], setup: WorkerSetup, eventsOf: (role: Role) => WorkerEvents) {
    this.#sockets = sockets;
    this.#setup = setup;
    this.#eventsOf = eventsOf;
  }

  /** @returns once it is ready for its first task */
  get(role: Role): Promise<WorkerLink> {
    let worker = this.#workers.get(role);
    if (worker === undefined) {
      const events = this.#eventsOf(role);
      worker = WorkerLink.start(new URL(WORKERS[role][this.#sockets], import.meta.url), this.#setup, {
        ...events,
        onLost: (fault) => {
          this.#workers.delete(role);
          events.onLost(fault);
        },
      });
      this.#workers.set(role, worker);
    }
    return worker;
  }

  /** What is started from now on begins with this; what is there already ends before the next run. */
  renew(setup: WorkerSetup): void {
    this.#setup = setup;
    this.#isOutdated = true;
  }

  /** Closes what was prepared in any of them. */
  async discard(): Promise<void> {
    for (const worker of this.#workers.values()) await worker.then((link) => link.discard());
  }

  /** A run is to come: none of them ends of itself. */
  async stay(): Promise<void> {
    clearTimeout(this.#timer);
    if (!this.#isOutdated) return;
    this.#isOutdated = false;
    await this.end();
  }

  /** No run is on: they end unless told to `stay` meanwhile. */
  restLater(): void {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.end(), REST_AFTER_MS);
    this.#timer.unref();
  }

  /** Ends all of them; one that is asked for later is another one. */
  async end(): Promise<void> {
    clearTimeout(this.#timer);
    const workers = [...this.#workers.values()];
    this.#workers.clear();
    for (const worker of workers) await worker.then((link) => link.close()).catch(() => undefined);
  }
}
