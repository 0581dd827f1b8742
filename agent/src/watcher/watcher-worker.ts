import { parentPort, workerData } from "node:worker_threads";
import { EventPoll } from "../sockets/linux/event-poll.ts";
import { InterfaceWatch } from "./interface-watch.ts";
import { type FromWatcher, type ToWatcher, WATCHER_PROTOCOL, type WatcherSetup } from "./watcher-protocol.ts";
import { watcherUnable } from "./watcher-unable.ts";

/**
 * The watcher's thread. It waits for a frame, takes all that came, and rests a little: the kernel stamps frames with
 * their time and queues them, and taking many at once costs less than waking up for each.
 */
const LONGEST_WAIT_MS = 20; // then it looks at its messages
const REOPEN_MS = 200;
/** Rests so long that a queue of this host's size stays half empty at 100 000 frames/s of 1500 B (2.3 kB each, queued). */
const restMs = (receiveBufferBytes: number): number =>
  Math.max(1, Math.min(LONGEST_WAIT_MS, Math.floor(receiveBufferBytes / (2 * 2304 * 100))));

const setup = workerData as WatcherSetup;
const say = (message: FromWatcher): void => parentPort?.postMessage(message);

try {
  watchUntilStopped(new InterfaceWatch(setup));
} catch (cause) {
  giveUp(cause);
}

function watchUntilStopped(watch: InterfaceWatch): void {
  const poll = new EventPoll(1);
  poll.add(watch.fd, 0);
  let timer: NodeJS.Timeout;
  /** @returns how long to rest, ms */
  const beat = (): number => {
    if (watch.isDown) {
      if (!watch.reopen()) return REOPEN_MS;
      poll.add(watch.fd, 0); // closing the old socket took it off the list
    }
    poll.wait(LONGEST_WAIT_MS);
    return watch.drain() ? restMs(watch.receiveBufferBytes) : 0; // more is waiting, but messages come first
  };
  const stop = (): void => {
    clearTimeout(timer);
    parentPort?.close();
    poll.close();
    watch.close();
  };
  /** A socket that fails for good ends the watch, not the agent. */
  const guarded = (): void => {
    try {
      timer = setTimeout(guarded, beat());
    } catch (cause) {
      giveUp(cause);
      stop();
    }
  };
  parentPort?.on("message", (request: ToWatcher) => {
    if (request.kind === "watch") watch.watch(request.plan);
    if (request.kind === "snapshot") say({ kind: "report", id: request.id, report: watch.report() });
    else say({ kind: "done", id: request.id });
    if (request.kind === "stop") stop();
  });
  timer = setTimeout(guarded, 0);
  say({ kind: "ready", protocol: WATCHER_PROTOCOL });
}

function giveUp(cause: unknown): void {
  const { code, message, hint } = watcherUnable(setup.interfaceName, cause);
  say({ kind: "unable", code, message, hint });
}
