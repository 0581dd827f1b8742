import { Fault, type FaultCode } from "@dyetrace/wire";
import { VERSION } from "../about/version.ts";
import { Left } from "../conduct/leaving.ts";
import type { NewRun } from "../store/run-records.ts";
import type { Store } from "../store/store.ts";
import { CONTROLLER_INSTANCE } from "./controller-boot.ts";
import type { RunJob } from "./run-registry.ts";

/**
 * A run's job, with its beginning and its end written down. If the end can't be stored, the report is still handed
 * over, with a note that says so.
 */
export function keepRun(store: Store, run: Omit<NewRun, "programVersion" | "owner">, job: RunJob): RunJob {
  return async (signal, say) => {
    try {
      await store.runs.add({ ...run, programVersion: VERSION, owner: CONTROLLER_INSTANCE });
    } catch (error) {
      throw store.fault(error);
    }
    return finishRun(store, run.runId, job)(signal, say);
  };
}

/** The second half of that, for a run whose beginning is written down. */
export function finishRun(store: Store, runId: string, job: RunJob): RunJob {
  return async (signal, say) => {
    let report: Awaited<ReturnType<RunJob>>;
    try {
      report = await job(signal, say);
    } catch (error) {
      if (error instanceof Left) throw error;
      await store.runs.failed(runId, failureOf(error)).catch(() => undefined);
      throw error;
    }
    try {
      await store.runs.done(report);
      return report;
    } catch (error) {
      const reason = store.fault(error);
      return { ...report, notes: [...report.notes, `This report could not be stored: ${String(reason)}`] };
    }
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
