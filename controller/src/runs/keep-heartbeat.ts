import { Fault } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { Store } from "../store/store.ts";
import type { RunRegistry } from "./run-registry.ts";

export const HEARTBEAT_MS = 2000;
/** A controller that has not said for this long that it conducts a run is gone. */
const GONE_AFTER_MS = 10_000;

/** Whether some controller still says that it conducts the run. */
export const isBeating = ({ heartbeatMs }: { readonly heartbeatMs: number }): boolean =>
  Date.now() - heartbeatMs < GONE_AFTER_MS;

/** Says every few seconds that this controller conducts its runs. */
export function keepHeartbeat({ runs, store, log }: HeartbeatSurroundings): Disposable {
  const beat = setInterval(() => {
    for (const run of runs.list()) {
      if (!run.isRunning) continue;
      store.runs.heartbeat(run.id).catch((error: unknown) => {
        const err = store.fault(error);
        log.error({ err, runId: run.id }, err instanceof Fault ? "heartbeat not stored" : "heartbeat failed");
      });
    }
  }, HEARTBEAT_MS);
  return { [Symbol.dispose]: () => clearInterval(beat) };
}

interface HeartbeatSurroundings {
  readonly runs: RunRegistry;
  readonly store: Store;
  readonly log: Logger;
}
