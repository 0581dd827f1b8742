import type { Logger } from "pino";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import type { ConductingRight } from "../agents/agent-registry.ts";
import type { HeldRun } from "../store/run-leases.ts";
import type { Store } from "../store/store.ts";

const RENEW_MS = 2000;
/** A controller that has not said for this long that it conducts a run is gone, and another one takes it. */
export const GONE_AFTER_MS = 10_000;
/** It stops a little before by itself: its clock and the store's are not one. */
const SURE_FOR_MS = 9000;

interface Hold {
  readonly epoch: number;
  /** On the monotonic clock of this process, ms. */
  untilMs: number;
}

export interface HoldTold {
  /** Another controller has the run. */
  readonly onLost: (runId: string) => void;
  /** This controller can be sure of the run again: what it ordered meanwhile did not go out. */
  readonly onRegained: (runId: string) => void;
  /** Somebody asked another controller for its end. */
  readonly onStopAsked: (runId: string) => void;
}

/**
 * The runs that this controller conducts, and whether it may be sure of it. A renewal counts from the moment in which it was
 * asked for, so that this controller always ends before another one can begin.
 */
export class RunHolds implements ConductingRight, Disposable {
  told: HoldTold = { onLost: () => {}, onRegained: () => {}, onStopAsked: () => {} };
  readonly #store: Store;
  readonly #log: Logger;
  readonly #holds = new Map<string, Hold>();
  readonly #renewing: NodeJS.Timeout;
  #isRenewing = false;

  constructor(store: Store, log: Logger) {
    this.#store = store;
    this.#log = log;
    this.#renewing = setInterval(() => void this.renew(), RENEW_MS);
  }

  /** @param askedMs when the store was asked for it, by `performance.now()` */
  hold(runId: string, epoch: number, askedMs: number = performance.now()): void {
    this.#holds.set(runId, { epoch, untilMs: askedMs + SURE_FOR_MS });
  }

  /** The run is over, or left to others. */
  drop(runId: string): void {
    this.#holds.delete(runId);
  }

  has(runId: string): boolean {
    return this.#holds.has(runId);
  }

  isHeld(runId: string): boolean {
    if (this.#store.isPrivate) return true;
    const hold = this.#holds.get(runId);
    return hold !== undefined && performance.now() < hold.untilMs;
  }

  epochOf(runId: string): number {
    return this.#holds.get(runId)?.epoch ?? 1;
  }

  /** By which to write to a run; null: nobody else can have it. */
  leaseOf(runId: string): HeldRun | null {
    if (this.#store.isPrivate) return null;
    return { runId, owner: CONTROLLER_INSTANCE, epoch: this.epochOf(runId) };
  }

  /** Says to the store that it conducts them still. */
  async renew(): Promise<void> {
    if (this.#isRenewing || this.#holds.size === 0) return;
    this.#isRenewing = true;
    const askedMs = performance.now();
    const asked = [...this.#holds].map(([runId, { epoch }]) => ({ runId, epoch }));
    try {
      const renewed = await this.#store.leases.renew(CONTROLLER_INSTANCE, asked);
      const kept = new Map(renewed.map((run) => [run.runId, run]));
      for (const { runId, epoch } of asked) {
        const hold = this.#holds.get(runId);
        if (hold?.epoch !== epoch) continue; // over meanwhile, or taken anew
        const run = kept.get(runId);
        if (run === undefined) this.#lost(runId);
        else {
          const wasHeld = this.isHeld(runId);
          hold.untilMs = askedMs + SURE_FOR_MS;
          if (!wasHeld) this.told.onRegained(runId);
          if (run.isStopAsked) this.told.onStopAsked(runId);
        }
      }
    } catch (error) {
      const err = this.#store.fault(error);
      this.#log.error({ err }, "that this controller conducts its runs could not be written down");
    } finally {
      this.#isRenewing = false;
    }
  }

  #lost(runId: string): void {
    this.#holds.delete(runId);
    this.#log.warn({ runId }, "another controller conducts this run by now; it is left to it");
    this.told.onLost(runId);
  }

  [Symbol.dispose](): void {
    clearInterval(this.#renewing);
  }
}
