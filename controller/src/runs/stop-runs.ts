import type { FaultCode } from "@dyetrace/wire";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { STOPPED_BY_HAND } from "../conduct/conduct-run.ts";
import { stopEverySource, stopStrayRun } from "../conduct/stop-sources.ts";
import type { EstateBus } from "../estate/estate-bus.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import type { RunRegistry } from "./run-registry.ts";
import type { RunSchedule } from "./run-schedule.ts";

/** What an operator can stop, by whatever way the order comes. */
export interface RunStops {
  /** Ends a run, or cancels a scheduled one. @param by who, in words that follow "by" @throws {Fault} RUN_UNKNOWN, and the store's own */
  stopRun(runId: string, by: string): Promise<void>;
  /** Ends every source of every connected agent, whatever run it belongs to. @returns the agents that were told */
  stopAll(by: string): readonly string[];
}

export interface StopSurroundings {
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  readonly store: Store;
  readonly bus: EstateBus;
}

export function runStops({ registry, runs, store, bus }: StopSurroundings, schedule: RunSchedule): RunStops {
  const stopHere = (runId: string, by: string | null): boolean => {
    const isOurs = runs.list().some((run) => run.id === runId);
    if (isOurs) runs.abort(runId, by);
    return isOurs;
  };
  const stopAllHere = (by: string | null): readonly string[] => {
    runs.abortAll(by);
    return stopEverySource(registry, STOPPED_BY_HAND);
  };
  const code: FaultCode = "RUN_CANCELLED";
  const cancelled = (by: string) => ({ code, message: `It was cancelled by ${by} before its start`, hint: "" });
  bus.on("word", (word) => {
    if (word.kind === "stop-all") stopAllHere(word.by ?? null);
    if (word.kind !== "stop-run") return;
    schedule.cancel(word.runId);
    if (!stopHere(word.runId, word.by ?? null)) stopStrayRun(registry, word.runId, STOPPED_BY_HAND);
  });
  /** Whoever conducts it, now or next, ends it; agents of it that hang here end at once. */
  const stopElsewhere = async (runId: string, by: string): Promise<boolean> => {
    const told = stopStrayRun(registry, runId, STOPPED_BY_HAND);
    if (bus.isAlone) return told > 0;
    const record = await stored(store, () => store.runs.find(runId));
    if (record?.state !== "running") return told > 0;
    await stored(store, () => store.leases.askStop(runId));
    await bus.say({ kind: "stop-run", runId, by });
    return true;
  };
  return {
    stopRun: async (runId, by) => {
      const isWaiting = schedule.cancel(runId);
      // What goes on here ends at once, whatever the store's state.
      if (!isWaiting && stopHere(runId, by)) return;
      if (isWaiting || !bus.isAlone) {
        const isCancelled = await stored(store, () => store.leases.cancel(runId, cancelled(by)));
        if (isCancelled) await bus.say({ kind: "stop-run", runId, by });
        if (isCancelled || (isWaiting && bus.isAlone)) return;
      }
      if (stopHere(runId, by)) return;
      if (!(await stopElsewhere(runId, by))) runs.find(runId); // throws: nobody knows of it
    },
    stopAll: (by) => {
      if (!bus.isAlone) {
        void bus.say({ kind: "stop-all", by });
        store.leases.askStop(null).catch(() => undefined); // those that hear of it have ended theirs already
      }
      return stopAllHere(by);
    },
  };
}
