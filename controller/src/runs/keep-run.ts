import { Fault, type FaultCode } from "@dyetrace/wire";
import { VERSION } from "../about/version.ts";
import { Left } from "../conduct/leaving.ts";
import type { NewRun } from "../store/run-records.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import { CONTROLLER_INSTANCE } from "./controller-boot.ts";
import type { LateWrites } from "./late-writes.ts";
import type { RunJob } from "./run-registry.ts";

/** Where a run's beginning and end are written down. */
export interface RunShelf {
  readonly store: Store;
  readonly late: LateWrites;
}

/**
 * A run's job, with its beginning and its end written down. If the end can't be stored, the report is still handed
 * over, with a note that says so, and storing it is tried again.
 */
export function keepRun(shelf: RunShelf, run: Omit<NewRun, "programVersion" | "owner">, job: RunJob): RunJob {
  const { store } = shelf;
  return async (signal, say) => {
    await stored(store, () => store.runs.add({ ...run, programVersion: VERSION, owner: CONTROLLER_INSTANCE }));
    return finishRun(shelf, run.runId, job)(signal, say);
  };
}

/** The second half of that, for a run whose beginning is written down. */
export function finishRun({ store, late }: RunShelf, runId: string, job: RunJob): RunJob {
  return async (signal, say) => {
    let report: Awaited<ReturnType<RunJob>>;
    try {
      report = await job(signal, say);
    } catch (error) {
      if (error instanceof Left) throw error;
      await late.write(runId, () => store.runs.failed(runId, failureOf(error)));
      throw error;
    }
    const trouble = await late.write(runId, () => store.runs.done(report));
    if (trouble === null) return report;
    return { ...report, notes: [...report.notes, `This report could not be stored yet: ${String(trouble)}`] };
  };
}

export function failureOf(error: unknown): {
  readonly code: FaultCode;
  readonly message: string;
  readonly hint: string;
} {
  if (error instanceof Fault) return { code: error.code, message: error.message, hint: error.hint };
  return { code: "INTERNAL", message: `The controller failed: ${String(error)}`, hint: "" };
}
