import type { Fault } from "@dyetrace/wire/fault";
import type { HandedWatch } from "./handed-watch.ts";
import { InterfaceWatch } from "./interface-watch.ts";
import type { WatcherSetup } from "./watcher-protocol.ts";
import { watcherUnable } from "./watcher-unable.ts";

/** What the kernel charges for a frame of 1500 B, queued. */
const QUEUED_BYTES = 2304;
/** More messages about groups come on no network that we know of, but for storms; "from memory". */
const MESSAGES_PER_MS = 1;
const LONGEST_REST_MS = 250;
const SHORTEST_REST_MS = 20;

/**
 * The watch while nothing is asked of it, in whatever thread has it: only messages about groups come through the socket's filter,
 * the kernel has stamped them with their time, and so it is enough to look now and then.
 */
export class RestingWatch {
  readonly #setup: WatcherSetup;
  readonly #watch: InterfaceWatch;
  readonly #onLost: (fault: Fault) => void;
  #timer: NodeJS.Timeout | undefined;

  /**
   * @param handed of a thread's that ended @param onLost a socket that fails for good ends the watch
   * @throws {SystemCallError | Fault} when the host does not let this process watch, or has no such interface
   */
  constructor(setup: WatcherSetup, handed: HandedWatch | undefined, onLost: (fault: Fault) => void) {
    this.#setup = setup;
    this.#onLost = onLost;
    this.#watch = new InterfaceWatch(setup, handed);
    this.#look();
  }

  /** For a thread to go on with. */
  handOver(): HandedWatch {
    clearTimeout(this.#timer);
    return this.#watch.handOver();
  }

  close(): void {
    clearTimeout(this.#timer);
    this.#watch.close();
  }

  #look(): void {
    try {
      const isWatching = !this.#watch.isDown || this.#watch.reopen();
      const isAllTaken = !isWatching || this.#watch.drain();
      this.#timer = setTimeout(() => this.#look(), isAllTaken ? this.#restMs : 0);
      this.#timer.unref();
    } catch (cause) {
      this.close();
      this.#onLost(watcherUnable(this.#setup.interfaceName, cause));
    }
  }

  /** So long that the socket's queue stays half empty meanwhile. */
  get #restMs(): number {
    const half = this.#watch.receiveBufferBytes / QUEUED_BYTES / 2 / MESSAGES_PER_MS;
    return Math.max(SHORTEST_REST_MS, Math.min(LONGEST_REST_MS, Math.floor(half)));
  }
}
