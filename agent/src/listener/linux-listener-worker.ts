import { parentPort, workerData } from "node:worker_threads";
import { linuxReceiver } from "../receive/linux-receiver.ts";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import { ListenerThread } from "./listener-thread.ts";

/** A test packet's header and notice, with room; the fill behind them is not copied. */
const SLOT_BYTES = 128;

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new ListenerThread(parentPort, setup, linuxReceiver(setup.interfaceIndex, SLOT_BYTES));
}
