import { parentPort, workerData } from "node:worker_threads";
import { monotonicNs, wallOfMonotonic } from "../sockets/portable/portable-clock.ts";
import { PortableGroupSocket } from "../sockets/portable/portable-group-socket.ts";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import { drivePortableListener } from "./drive-portable-listener.ts";
import { type ListenerPlatform, ListenerThread } from "./listener-thread.ts";

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
      return drivePortableListener(run);
    },
  };
}

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new ListenerThread(parentPort, setup, portablePlatform(setup));
}
