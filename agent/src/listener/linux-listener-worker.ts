import { parentPort, workerData } from "node:worker_threads";
import { KernelClock } from "../sockets/linux/clock.ts";
import { LinuxGroupSocket, type LinuxListenerTools } from "../sockets/linux/linux-group-socket.ts";
import { ReceiveBlock } from "../sockets/linux/receive-block.ts";
import { aheadOfOthers } from "../sockets/linux/thread-priority.ts";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import { driveListener } from "./drive-listener.ts";
import { type ListenerPlatform, ListenerThread } from "./listener-thread.ts";

const BATCH_PACKETS = 64;
/** A test packet's header and notice, with room; the fill behind them is not copied. */
const SLOT_BYTES = 128;

/** Linux: the thread waits in the kernel and reads messages only between runs. */
function linuxPlatform(setup: WorkerSetup): ListenerPlatform {
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
  return {
    seesHostDrops: true,
    clock: () => clock.now(),
    toWall: (monotonicNs) => clock.toWall(monotonicNs),
    takeClockSteps: () => {
      const steps = tools.clockSteps;
      tools.clockSteps = 0;
      return steps;
    },
    opener: (sorter) => (group, port, source, streams) =>
      new LinuxGroupSocket(tools, sorter, group, port, source, streams),
    drive: (run, sockets, startNs) => {
      tools.startNs = startNs;
      const own = sockets.filter((socket): socket is LinuxGroupSocket => socket instanceof LinuxGroupSocket);
      aheadOfOthers(() => driveListener(run, own, clock));
    },
  };
}

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new ListenerThread(parentPort, setup, linuxPlatform(setup));
}
