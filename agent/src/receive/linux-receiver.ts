import { KernelClock } from "../sockets/linux/clock.ts";
import { LinuxGroupSocket, type LinuxListenerTools } from "../sockets/linux/linux-group-socket.ts";
import { ReceiveBlock } from "../sockets/linux/receive-block.ts";
import { aheadOfOthers } from "../sockets/linux/thread-priority.ts";
import { WatchSocket } from "../sockets/linux/watch-socket.ts";
import { driveLinuxSockets } from "./drive-linux-sockets.ts";
import type { Receiver } from "./receiver.ts";

const BATCH_PACKETS = 64;

/** Linux: the thread waits in the kernel, and blocks there. @param slotBytes what is copied of each packet */
export function linuxReceiver(interfaceIndex: number, slotBytes: number): Receiver {
  const clock = new KernelClock();
  clock.pair();
  const block = new ReceiveBlock(BATCH_PACKETS, slotBytes);
  const tools: LinuxListenerTools = { clock, block, interfaceIndex, startNs: 0, clockSteps: 0 };
  return {
    seesHostDrops: true,
    slotBytes,
    clock: () => clock.now(),
    toWall: (monotonicNs) => clock.toWall(monotonicNs),
    takeClockSteps: () => {
      const steps = tools.clockSteps;
      tools.clockSteps = 0;
      return steps;
    },
    opener: (sink) => (group, port, source, streams) => new LinuxGroupSocket(tools, sink, group, port, source, streams),
    watcher: (sink, interfaceName) => (group, port, source, streams) =>
      new WatchSocket(tools, sink, interfaceName, group, port, source, streams),
    startAt: (startNs) => {
      tools.startNs = startNs;
    },
    drive: (run, sockets) => {
      const own = sockets.filter(
        (socket): socket is LinuxGroupSocket | WatchSocket =>
          socket instanceof LinuxGroupSocket || socket instanceof WatchSocket,
      );
      aheadOfOthers(() => driveLinuxSockets(run, own, clock));
    },
  };
}
