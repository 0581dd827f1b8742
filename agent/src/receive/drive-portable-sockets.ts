import { monotonicNs } from "../sockets/portable/portable-clock.ts";
import { type DrivenRun, LONGEST_WAIT_MS } from "./driven-run.ts";

/** Packets come as events; in between a timer calls `run.step`, until the run is over. */
export function drivePortableSockets(run: DrivenRun): Promise<void> {
  return new Promise((resolve, reject) => {
    // The loop polls its sockets between timers and immediates, so what came before the timer is in by the step.
    const pass = (): void => {
      const passNs = monotonicNs();
      setImmediate(() => {
        try {
          const waitMs = Math.floor((run.step(passNs) - monotonicNs()) / 1e6);
          if (run.isOver) resolve();
          else setTimeout(pass, Math.min(Math.max(0, waitMs), LONGEST_WAIT_MS));
        } catch (cause) {
          reject(cause as Error);
        }
      });
    };
    pass();
  });
}
