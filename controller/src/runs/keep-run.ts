import { Fault, type FaultCode } from "@dyetrace/wire";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import { VERSION } from "../about/version.ts";
import { Left } from "../conduct/leaving.ts";
import type { RunHolds } from "../estate/run-holds.ts";
import type { NewRun } from "../store/run-records.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import type { LateWrites } from "./late-writes.ts";
import type { RunJob } from "./run-registry.ts";

/** Where a run's beginning and end are written down. */
export interface RunShelf {
  readonly store: Store;
  readonly late: LateWrites;
  readonly holds: RunHolds;
}

/**
 * A run's job, with its beginning and its end written down. If the end can't be stored, the report is still handed
 * over, with a note that says so, and storing it is tried again.
 */
export function keepRun(shelf: RunShelf, run: Omit<NewRun, "programVersion" | "owner">, job: RunJob): RunJob {
  return async (signal, say) => {
    await beginRun(shelf, run);
    return finishRun(shelf, run.runId, job)(signal, say);
  };
}

/** Writes a run down that this controller conducts from now on. @throws {Fault} RUN_BUSY, and what the store throws */
export async function beginRun(
  { store, holds }: RunShelf,
  run: Omit<NewRun, "programVersion" | "owner">,
): Promise<void> {
  const askedMs = performance.now();
  await stored(store, () => store.leases.begin({ ...run, programVersion: VERSION, owner: CONTROLLER_INSTANCE }));
  holds.hold(run.runId, 1, askedMs);
}

/** The second half of that, for a run whose beginning is written down. */
export function finishRun(shelf: RunShelf, runId: string, job: RunJob): RunJob {
  const { store, late, holds } = shelf;
  return async (signal, say) => {
    let report: Awaited<ReturnType<RunJob>>;
    try {
      report = await job(signal, say);
    } catch (error) {
      if (error instanceof Left) await letGo(shelf, runId);
      else await writeFailure(shelf, runId, error);
      throw error;
    }
    const lease = holds.leaseOf(runId);
    const trouble = await late.write(runId, async () => {
      await store.runs.done(report, lease);
      holds.drop(runId);
    });
    if (trouble === null) return report;
    return { ...report, notes: [...report.notes, `This report could not be stored yet: ${String(trouble)}`] };
  };
}

/** Another controller need not wait until this one counts as gone. */
async function letGo({ store, holds }: RunShelf, runId: string): Promise<void> {
  const lease = holds.leaseOf(runId);
  holds.drop(runId);
  if (lease !== null) await store.leases.letGo(lease).catch(() => undefined); // then it waits
}

/** Writes down that a run of this controller could not be carried out. */
export async function writeFailure({ store, late, holds }: RunShelf, runId: string, error: unknown): Promise<void> {
  const lease = holds.leaseOf(runId);
  await late.write(runId, async () => {
    await store.runs.failed(runId, failureOf(error), lease);
    holds.drop(runId);
  });
}

export function failureOf(error: unknown): {
  readonly code: FaultCode;
  readonly message: string;
  readonly hint: string;
} {
  if (error instanceof Fault) return { code: error.code, message: error.message, hint: error.hint };
  return { code: "INTERNAL", message: `The controller failed: ${String(error)}`, hint: "" };
}
