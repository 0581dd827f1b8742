import { parentPort, workerData } from "node:worker_threads";
import type { WorkerSetup } from "../data-plane/worker-protocol.ts";
import { KernelClock } from "../linux/clock.ts";
import { EventPoll } from "../linux/event-poll.ts";
import { LinuxGroupSocket, type LinuxListenerTools } from "../linux/linux-group-socket.ts";
import { ReceiveBlock } from "../linux/receive-block.ts";
import { goFirst } from "../linux/thread-priority.ts";
import type { GroupSocket } from "./group-socket.ts";
import type { ListenerRun } from "./listener-run.ts";
import { type ListenerPlatform, ListenerThread, LONGEST_WAIT_MS } from "./listener-thread.ts";

const BATCH_PACKETS = 64;
/** A test packet's header and notice, with room; the fill behind them is not copied. */
const SLOT_BYTES = 128;
const READY_SOCKETS = 64;

/** Linux: the thread waits in the kernel and reads messages only between runs. */
function linuxPlatform(setup: WorkerSetup): ListenerPlatform {
  const clock = new KernelClock();
  goFirst();
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
      drive(
        run,
        sockets.filter((socket): socket is LinuxGroupSocket => socket instanceof LinuxGroupSocket),
        clock,
      );
    },
  };
}

function drive(run: ListenerRun, sockets: readonly LinuxGroupSocket[], clock: KernelClock): void {
  const poll = new EventPoll(READY_SOCKETS);
  try {
    for (const [i, socket] of sockets.entries()) poll.add(socket.fd, i);
    let wakeNs = 0;
    while (!run.isOver) {
      const passNs = clock.now();
      wait(poll, sockets, clock, wakeNs - passNs);
      wakeNs = run.step(passNs);
    }
  } finally {
    poll.close();
  }
}

/** Takes in whatever is there, waiting for it no longer than `forNs`. */
function wait(poll: EventPoll, sockets: readonly GroupSocket[], clock: KernelClock, forNs: number): void {
  const waitMs = Math.min(Math.max(0, Math.floor(forNs / 1e6)), LONGEST_WAIT_MS);
  // epoll_wait counts whole milliseconds: the last part of one is slept, so that a join happens on time.
  if (waitMs === 0 && forNs > 0) clock.sleepUntil(clock.now() + Math.min(forNs, 1e6));
  const ready = poll.wait(waitMs);
  for (let i = 0; i < ready; i++) sockets[poll.token(i)]?.drain();
}

if (parentPort !== null) {
  const setup = workerData as WorkerSetup;
  new ListenerThread(parentPort, setup, linuxPlatform(setup));
}
