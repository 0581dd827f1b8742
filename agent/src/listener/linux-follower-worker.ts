import { parentPort, workerData } from "node:worker_threads";
import { linuxReceiver } from "../receive/linux-receiver.ts";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import { ListenerThread } from "./listener-thread.ts";

/** A packet is named by its whole payload; media packets fit an Ethernet frame, jumbo frames are 9000 bytes by common practice. */
const SLOT_BYTES = 9216;

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new ListenerThread(parentPort, setup, linuxReceiver(setup.interfaceIndex, SLOT_BYTES));
}
