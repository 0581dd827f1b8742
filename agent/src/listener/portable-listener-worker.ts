import { parentPort, workerData } from "node:worker_threads";
import { portableReceiver } from "../receive/portable-receiver.ts";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import { ListenerThread } from "./listener-thread.ts";

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new ListenerThread(parentPort, setup, portableReceiver(setup));
}
