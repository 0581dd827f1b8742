import type { FaultCode } from "@dyetrace/wire";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { STOPPED_BY_HAND } from "../conduct/conduct-run.ts";
import { stopEverySource, stopStrayRun } from "../conduct/stop-sources.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import type { RunRegistry } from "./run-registry.ts";
import type { RunSchedule } from "./run-schedule.ts";

/** What an operator can stop, by whatever way the order comes. */
export interface RunStops {
  /** Ends a run, or cancels a scheduled one. @throws {Fault} RUN_UNKNOWN, and the store's own */
  stopRun(runId: string): Promise<void>;
  /** Ends every source of every connected agent, whatever run it belongs to. @returns the agents that were told */
  stopAll(): readonly string[];
}

export function runStops(
  { registry, runs, store }: { readonly registry: AgentRegistry; readonly runs: RunRegistry; readonly store: Store },
  schedule: RunSchedule,
): RunStops {
  return {
    stopRun: async (runId) => {
      if (schedule.cancel(runId)) {
        const code: FaultCode = "RUN_CANCELLED";
        await stored(store, () =>
          store.runs.failed(runId, { code, message: "It was cancelled before its time", hint: "" }),
        );
      } else if (runs.list().some((run) => run.id === runId)) runs.abort(runId);
      else if (stopStrayRun(registry, runId, STOPPED_BY_HAND) === 0) runs.find(runId); // throws: nobody knows of it
    },
    stopAll: () => {
      runs.abortAll();
      return stopEverySource(registry, STOPPED_BY_HAND);
    },
  };
}
