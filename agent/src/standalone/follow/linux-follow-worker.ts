import { parentPort, workerData } from "node:worker_threads";
import { linuxReceiver } from "../../receive/linux-receiver.ts";
import type { FollowSetup } from "./follow-protocol.ts";
import { followInThread } from "./follower-thread.ts";

/** A transport stream is followed through its whole payload; media packets fit an Ethernet frame. */
const SLOT_BYTES = 2048;

if (parentPort !== null) {
  const setup = workerData as FollowSetup;
  await followInThread(parentPort, setup, linuxReceiver(setup.interfaceIndex, SLOT_BYTES));
}
