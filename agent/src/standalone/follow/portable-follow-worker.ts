import { parentPort, workerData } from "node:worker_threads";
import { drivePortableListener } from "../../listener/drive-portable-listener.ts";
import { monotonicNs, wallOfMonotonic } from "../../sockets/portable/portable-clock.ts";
import { PortableGroupSocket } from "../../sockets/portable/portable-group-socket.ts";
import type { FollowSetup } from "./follow-protocol.ts";
import { type FollowerPlatform, followInThread } from "./follower-thread.ts";
import { TrafficFollower } from "./traffic-follower.ts";

const WHOLE_PACKETS = 65_536;

function portablePlatform(setup: FollowSetup): FollowerPlatform {
  const follower = new TrafficFollower(false, WHOLE_PACKETS);
  let beganNs = 0;
  return {
    follower,
    clock: monotonicNs,
    toWall: wallOfMonotonic,
    open: (group, port, source) =>
      PortableGroupSocket.open(setup, follower, () => monotonicNs() - beganNs, group, port, source, []),
    startAt: (startNs) => {
      beganNs = startNs;
    },
    drive: (run) => drivePortableListener(run),
  };
}

if (parentPort !== null) {
  const setup = workerData as FollowSetup;
  await followInThread(parentPort, setup, portablePlatform(setup));
}
