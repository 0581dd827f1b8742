import { parentPort, workerData } from "node:worker_threads";
import type { WorkerSetup } from "../data-plane/worker-protocol.ts";
import { monotonicNs, wallOfMonotonic } from "../portable/portable-clock.ts";
import { PortableGroupSocket } from "../portable/portable-group-socket.ts";
import type { ListenerRun } from "./listener-run.ts";
import { type ListenerPlatform, ListenerThread, LONGEST_WAIT_MS } from "./listener-thread.ts";

/** Portable: packets come as events, between them a timer looks after joins, leaves and reports. */
function portablePlatform(setup: WorkerSetup): ListenerPlatform {
  let startNs = 0;
  const clock = (): number => monotonicNs() - startNs;
  return {
    seesHostDrops: false,
    clock: monotonicNs,
    toWall: wallOfMonotonic,
    takeClockSteps: () => null,
    opener: (sorter) => (group, port, source, streams) =>
      PortableGroupSocket.open(setup, sorter, clock, group, port, source, streams),
    drive: (run, _sockets, runStartNs) => {
      startNs = runStartNs;
      return drive(run);
    },
  };
}

function drive(run: ListenerRun): Promise<void> {
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

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new ListenerThread(parentPort, setup, portablePlatform(setup));
}
