import type { KernelClock } from "../sockets/linux/clock.ts";
import { EventPoll } from "../sockets/linux/event-poll.ts";
import { type DrivenRun, LONGEST_WAIT_MS } from "./driven-run.ts";

const READY_SOCKETS = 64;
/**
 * Least time from one look at the sockets to the next. Arrival times are the kernel's, so reading later costs nothing,
 * and packets are read in batches instead of one by one. A receive buffer of the size we ask for holds 3600 packets of
 * full size, so at 2 ms there is room for a million packets/s; the kernel's own default holds only some 180.
 */
const PASS_NS = 2e6;
const SMALL_BUFFER_PASS_NS = 250e3;
const ROOMY_BUFFER_BYTES = 4 << 20;
/** After a pass this share of its time is rest, so that a flood cannot take the whole processor. */
const REST_SHARE = 1 / 8;

/** What is waited for: the socket of a joined group, or one that watches. */
export interface DrivenSocket {
  readonly fd: number;
  /** As the kernel counts it, overhead included. */
  readonly receiveBufferBytes: number;
  drain(): void;
}

/** Waits for packets in the kernel, takes them in, and calls `run.step`, until the run is over. Blocks this thread. */
export function driveLinuxSockets(run: DrivenRun, sockets: readonly DrivenSocket[], clock: KernelClock): void {
  const hasRoom = sockets.every((socket) => socket.receiveBufferBytes >= ROOMY_BUFFER_BYTES);
  const leastNs = hasRoom ? PASS_NS : SMALL_BUFFER_PASS_NS;
  const poll = new EventPoll(READY_SOCKETS);
  try {
    for (const [i, socket] of sockets.entries()) poll.add(socket.fd, i);
    let wakeNs = 0;
    let restedNs = 0;
    while (!run.isOver) {
      if (restedNs > clock.now()) clock.sleepUntil(restedNs);
      const passNs = clock.now();
      const ready = waitForPackets(poll, clock, wakeNs - passNs);
      const wokenNs = clock.now();
      for (let i = 0; i < ready; i++) sockets[poll.token(i)]?.drain();
      wakeNs = run.step(passNs);
      const doneNs = clock.now();
      restedNs = Math.max(Math.min(wokenNs + leastNs, wakeNs), doneNs + (doneNs - wokenNs) * REST_SHARE);
    }
  } finally {
    poll.close();
  }
}

/** @returns how many sockets have something to read, after at most `forNs` */
function waitForPackets(poll: EventPoll, clock: KernelClock, forNs: number): number {
  const waitMs = Math.min(Math.max(0, Math.floor(forNs / 1e6)), LONGEST_WAIT_MS);
  // epoll_wait counts whole milliseconds: the last part of one is slept, so that a join happens on time.
  if (waitMs === 0 && forNs > 0) clock.sleepUntil(clock.now() + forNs);
  return poll.wait(waitMs);
}
