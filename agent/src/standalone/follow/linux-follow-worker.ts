import { parentPort, workerData } from "node:worker_threads";
import { driveListener } from "../../listener/drive-listener.ts";
import { KernelClock } from "../../sockets/linux/clock.ts";
import { LinuxGroupSocket, type LinuxListenerTools } from "../../sockets/linux/linux-group-socket.ts";
import { ReceiveBlock } from "../../sockets/linux/receive-block.ts";
import { aheadOfOthers } from "../../sockets/linux/thread-priority.ts";
import type { FollowSetup } from "./follow-protocol.ts";
import { type FollowerPlatform, followInThread } from "./follower-thread.ts";
import { TrafficFollower } from "./traffic-follower.ts";

const BATCH_PACKETS = 64;
/** A transport stream is followed through its whole payload; media packets fit an Ethernet frame. */
const SLOT_BYTES = 2048;

function linuxPlatform(setup: FollowSetup): FollowerPlatform {
  const clock = new KernelClock();
  clock.pair();
  const block = new ReceiveBlock(BATCH_PACKETS, SLOT_BYTES);
  const tools: LinuxListenerTools = {
    clock,
    block,
    interfaceIndex: setup.interfaceIndex,
    startNs: 0,
    clockSteps: 0,
  };
  const follower = new TrafficFollower(true, SLOT_BYTES);
  return {
    follower,
    clock: () => clock.now(),
    toWall: (monotonicNs) => clock.toWall(monotonicNs),
    open: (group, port, source) => new LinuxGroupSocket(tools, follower, group, port, source, []),
    startAt: (startNs) => {
      tools.startNs = startNs;
    },
    drive: (run, socket) => {
      if (socket instanceof LinuxGroupSocket) aheadOfOthers(() => driveListener(run, [socket], clock));
    },
  };
}

if (parentPort !== null) {
  const setup = workerData as FollowSetup;
  await followInThread(parentPort, setup, linuxPlatform(setup));
}
