import { parentPort, workerData } from "node:worker_threads";
import { portableReceiver } from "../../receive/portable-receiver.ts";
import type { FollowSetup } from "./follow-protocol.ts";
import { followInThread } from "./follower-thread.ts";

if (parentPort !== null) {
  const setup = workerData as FollowSetup;
  await followInThread(parentPort, setup, portableReceiver(setup));
}
