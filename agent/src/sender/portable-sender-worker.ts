import { parentPort, workerData } from "node:worker_threads";
import { TEST_PACKET_HEADER_BYTES } from "@dyetrace/wire/test-packet";
import { monotonicNs, wallOfMonotonic } from "../sockets/portable/portable-clock.ts";
import { PortablePacketOut } from "../sockets/portable/portable-packet-out.ts";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import type { SenderRun } from "./sender-run.ts";
import { LONGEST_SLEEP_NS, type SenderPlatform, SenderThread } from "./sender-thread.ts";

/** Portable: timers of whole milliseconds and a look at the schedule whenever a socket has answered. */
function portablePlatform(setup: WorkerSetup): SenderPlatform {
  let wake: () => void = () => undefined;
  return {
    clock: monotonicNs,
    toWall: wallOfMonotonic,
    open: (stream) => PortablePacketOut.open(stream, setup, TEST_PACKET_HEADER_BYTES, () => wake()),
    drive: (run) =>
      new Promise((resolve, reject) => {
        wake = stepper(run, resolve, reject);
        wake();
      }),
  };
}

/** @returns a function that does what is due now and asks a timer to do so again when the next thing is */
function stepper(run: SenderRun, onOver: () => void, onError: (cause: unknown) => void): () => void {
  let timer: NodeJS.Timeout | undefined;
  const step = (): void => {
    clearTimeout(timer);
    if (run.isOver) return;
    try {
      const waitNs = Math.min(run.step() - monotonicNs(), LONGEST_SLEEP_NS);
      if (run.isOver) onOver();
      else timer = setTimeout(step, Math.max(0, Math.floor(waitNs / 1e6)));
    } catch (cause) {
      onError(cause);
    }
  };
  return step;
}

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new SenderThread(parentPort, setup, portablePlatform(setup));
}
