import { Fault, type WatcherReport } from "@dyetrace/wire";
import { queryInterface } from "../sockets/linux/interface-query.ts";
import { isLinuxSupported } from "../sockets/linux/libc.ts";
import type { HandedWatch } from "./handed-watch.ts";
import type { KeptHeaders } from "./header-keep.ts";
import type { InterfaceSight } from "./look/interface-look.ts";
import { RestingWatch } from "./resting-watch.ts";
import type { HeaderAsk, WatcherSetup, WatchPlan } from "./watcher-protocol.ts";
import { WatcherThread } from "./watcher-thread.ts";
import { watcherUnable } from "./watcher-unable.ts";

/**
 * Watches one interface for as long as the agent lives, so that a run knows which queries came in the minutes before
 * it. A watcher that cannot see is no failure: `inability` says why, and every snapshot is null. It has a thread of its own
 * from the first thing that is asked of it until nothing was for a while; before and after, the main thread keeps the few
 * messages about groups that come. The socket is the same one all the time.
 */
export interface Watcher {
  /** Null while it watches. May become a fault later, when the interface is taken away. */
  readonly inability: Fault | null;
  /** Starts its thread: what is asked next is done at once. */
  wake(): Promise<void>;
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

export interface WatcherOptions {
  readonly interfaceName: string;
  /** How long after the last thing that was asked of it its thread ends, ms. */
  readonly restAfterMs?: number;
}

/** Nothing asked for so long: the thread costs 10 MB and wakes 50 times a second, and is started again in a moment. */
const REST_AFTER_MS = 30_000;

/** Resolves once the watcher watches, or is known not to be able to. */
export async function openWatcher(options: WatcherOptions): Promise<Watcher> {
  const { interfaceName, restAfterMs = REST_AFTER_MS } = options;
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
  try {
    return new HostWatcher({ interfaceName, interfaceIndex: queried.index }, restAfterMs);
  } catch (cause) {
    return new BlindWatcher(watcherUnable(interfaceName, cause));
  }
}

class BlindWatcher implements Watcher {
  readonly inability: Fault;

  constructor(inability: Fault) {
    this.inability = inability;
  }

  async wake(): Promise<void> {}

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

class HostWatcher implements Watcher {
  readonly #setup: WatcherSetup;
  readonly #restAfterMs: number;
  #resting: RestingWatch | null;
  /** The thread; null while the main thread watches. */
  #awake: Promise<WatcherThread | null> | null = null;
  /** The last thread is handing back. */
  #settling: Promise<void> = Promise.resolve();
  #inability: Fault | null = null;
  #timer: NodeJS.Timeout | undefined;
  #isLooking = false;
  #keepsHeaders = false;
  #isClosed = false;

  /** @throws {SystemCallError | Fault} */
  constructor(setup: WatcherSetup, restAfterMs: number) {
    this.#setup = setup;
    this.#restAfterMs = restAfterMs;
    this.#resting = this.#rest();
  }

  get inability(): Fault | null {
    return this.#inability;
  }

  get isResting(): boolean {
    return this.#resting !== null;
  }

  async wake(): Promise<void> {
    await this.#thread();
  }

  async watch(plan: WatchPlan): Promise<void> {
    this.#keepsHeaders = plan.keepsHeaders !== undefined;
    await (await this.#thread())?.watch(plan);
  }

  async snapshot(): Promise<WatcherReport | null> {
    return (await (await this.#thread())?.snapshot()) ?? null;
  }

  async beginLook(): Promise<void> {
    this.#isLooking = true;
    await (await this.#thread())?.beginLook();
  }

  async endLook(): Promise<InterfaceSight | null> {
    this.#isLooking = false;
    return (await (await this.#thread())?.endLook()) ?? null;
  }

  async readHeaders(ask: HeaderAsk): Promise<KeptHeaders | null> {
    const headers = (await (await this.#thread())?.readHeaders(ask)) ?? null;
    if (!ask.keepsOn) this.#keepsHeaders = false;
    return headers;
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    clearTimeout(this.#timer);
    await this.#settling;
    await (await this.#awake)?.close();
    this.#resting?.close();
    this.#resting = null;
  }

  /** @returns null where this host cannot watch, or no longer */
  async #thread(): Promise<WatcherThread | null> {
    if (this.#isClosed || this.#inability !== null) return null;
    clearTimeout(this.#timer);
    this.#awake ??= this.#start();
    const thread = await this.#awake;
    this.#restLater();
    return this.#inability === null ? thread : null;
  }

  async #start(): Promise<WatcherThread | null> {
    await this.#settling;
    const handed = this.#resting?.handOver();
    this.#resting = null;
    if (handed === undefined) return null; // it was lost while it rested
    const thread = new WatcherThread({ ...this.#setup, handed }, (fault) => {
      this.#inability = fault;
    });
    await thread.opened;
    return thread;
  }

  #restLater(): void {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {
      const awake = this.#awake;
      if (awake === null || this.#isLooking || this.#keepsHeaders) this.#restLater();
      else {
        this.#awake = null;
        this.#settling = this.#settle(awake);
      }
    }, this.#restAfterMs);
    this.#timer.unref();
  }

  async #settle(awake: Promise<WatcherThread | null>): Promise<void> {
    const handed = await (await awake)?.release();
    if (handed !== undefined && handed !== null) this.#resting = this.#rest(handed);
  }

  #rest(handed?: HandedWatch): RestingWatch {
    return new RestingWatch(this.#setup, handed, (fault) => {
      this.#inability = fault;
    });
  }
}
