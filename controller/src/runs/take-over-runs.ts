import { Fault } from "@dyetrace/wire";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import { GONE_AFTER_MS } from "../estate/run-holds.ts";
import { type PackedRun, unpackCompiledRun } from "../plan/compiled-run-json.ts";
import type { RunRecord } from "../store/run-record.ts";
import { type ContinueSurroundings, continueRun } from "./continue-run.ts";
import { writeFailure } from "./keep-run.ts";
import { neverBegun, type PickedUpRuns, pickUpRuns } from "./pick-up-runs.ts";
import { placeOf } from "./start-run.ts";

const LOOK_MS = 1000;

/** Takes up what other controllers left, by what the store is: of this one alone, or of several. */
export async function takeUpRuns(surroundings: ContinueSurroundings, isLasting: boolean): Promise<PickedUpRuns> {
  if (surroundings.store.isPrivate) return pickUpRuns(surroundings, isLasting);
  const takeOver = new RunTakeOver(surroundings);
  return { isWaiting: (runId) => surroundings.holds.has(runId), [Symbol.dispose]: () => takeOver[Symbol.dispose]() };
}

/**
 * On a store of several controllers: takes every run whose conductor has been silent for too long, for as long as this one
 * lives. One of a site at which this controller is busy waits for its end, or for another controller.
 */
export class RunTakeOver implements Disposable {
  readonly #with: ContinueSurroundings;
  readonly #looking: NodeJS.Timeout;
  #turn: Promise<void> | null = null;
  #isClosed = false;

  constructor(surroundings: ContinueSurroundings) {
    this.#with = surroundings;
    this.#looking = setInterval(() => {
      this.#turn ??= this.look().finally(() => {
        this.#turn = null;
      });
    }, LOOK_MS);
  }

  async look(): Promise<void> {
    const { store, log } = this.#with;
    try {
      for (const runId of await store.leases.left(GONE_AFTER_MS)) {
        if (this.#isClosed) return;
        await this.#take(runId).catch((error: unknown) =>
          log.error({ err: store.fault(error), runId }, "run not taken over"),
        );
      }
    } catch (error) {
      log.error({ err: store.fault(error) }, "which runs were left could not be asked");
    }
  }

  async #take(runId: string): Promise<void> {
    const { store, runs, holds, log } = this.#with;
    if (holds.has(runId)) return; // its own, which it could not renew: no other can begin while it asks
    const known = await store.runs.find(runId);
    if (known === null) return;
    const run = known.compiled === null ? null : unpackCompiledRun(known.compiled as PackedRun);
    if (run !== null) {
      try {
        runs.refuseBusy(placeOf(run, known.site));
      } catch {
        return;
      }
    }
    const askedMs = performance.now();
    const epoch = await store.leases.takeOver(runId, CONTROLLER_INSTANCE, GONE_AFTER_MS);
    if (epoch === null) return;
    holds.hold(runId, epoch, askedMs);
    const record = await store.runs.find(runId); // it may have begun meanwhile
    if (record === null) return holds.drop(runId);
    if (record.start === null || record.compiled === null) return this.#endUnbegun(record);
    try {
      continueRun(record, record.start, this.#with);
    } catch (error) {
      if (error instanceof Fault && error.code === "RUN_BUSY") return holds.drop(runId); // it is looked at again
      return writeFailure(this.#with, runId, error); // its plan is none for this version
    }
    log.info({ runId, epoch }, "run taken over");
    if (record.isStopAsked) runs.abort(runId, null);
  }

  /** No packet of it was ordered yet: a scheduled run may begin anew while there is time, any other is over. */
  async #endUnbegun(record: RunRecord): Promise<void> {
    const { store, holds } = this.#with;
    const lease = holds.leaseOf(record.runId);
    if (record.startAt !== null && !record.isStopAsked && lease !== null) {
      holds.drop(record.runId);
      await store.leases.unclaim(lease);
      return;
    }
    await writeFailure(this.#with, record.runId, neverBegun(true));
  }

  [Symbol.dispose](): void {
    this.#isClosed = true;
    clearInterval(this.#looking);
  }
}
