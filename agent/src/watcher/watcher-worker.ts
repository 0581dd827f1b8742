import { parentPort, workerData } from "node:worker_threads";
import { EventPoll } from "../sockets/linux/event-poll.ts";
import { HeaderKeep, type KeptHeaders } from "./header-keep.ts";
import { InterfaceWatch } from "./interface-watch.ts";
import { InterfaceLook } from "./look/interface-look.ts";
import {
  type FromWatcher,
  type HeaderAsk,
  type ToWatcher,
  WATCHER_PROTOCOL,
  type WatcherStart,
  type WatchPlan,
} from "./watcher-protocol.ts";
import { watcherUnable } from "./watcher-unable.ts";

/**
 * The watcher's thread, while there is something to watch for. It waits for a frame, takes all that came, and rests a little: the kernel stamps frames with
 * their time and queues them, and taking many at once costs less than waking up for each.
 */
const LONGEST_WAIT_MS = 20; // then it looks at its messages
const REOPEN_MS = 200;
/** Rests so long that a queue of this host's size stays half empty at 100 000 frames/s of 1500 B (2.3 kB each, queued). */
const restMs = (receiveBufferBytes: number): number =>
  Math.max(1, Math.min(LONGEST_WAIT_MS, Math.floor(receiveBufferBytes / (2 * 2304 * 100))));

const setup = workerData as WatcherStart;
const say = (message: FromWatcher): void => parentPort?.postMessage(message);

try {
  watchUntilStopped(new InterfaceWatch(setup, setup.handed));
} catch (cause) {
  giveUp(cause);
}

function watchUntilStopped(watch: InterfaceWatch): void {
  const poll = new EventPoll(3);
  poll.add(watch.fd, 0);
  let look: InterfaceLook | null = null;
  const endLook = (): void => {
    look?.close(); // which takes it off the list
    look = null;
  };
  /** @returns whether all of it was taken */
  const drainLook = (): boolean => {
    try {
      return look?.drain() ?? true;
    } catch {
      endLook(); // a look that fails is no reason to end the watch: it is told as none
      return true;
    }
  };
  let keep: { readonly runId: string; readonly headers: HeaderKeep } | null = null;
  const endKeep = (): void => {
    keep?.headers.close();
    keep = null;
  };
  const beginKeep = ({ runId, startMonotonicNs, streams, keepsHeaders }: WatchPlan): void => {
    endKeep();
    if (keepsHeaders === undefined) return;
    try {
      const groups = streams.map(({ group }) => group);
      keep = { runId, headers: new HeaderKeep(setup.interfaceIndex, { startMonotonicNs, groups, ...keepsHeaders }) };
      if (keep.headers.fd !== null) poll.add(keep.headers.fd, 2);
    } catch {
      endKeep(); // told as none when they are asked for
    }
  };
  const readHeaders = ({ runId, fromNs, toNs, mostBytes, keepsOn }: HeaderAsk): KeptHeaders | null => {
    if (keep === null || keep.runId !== runId) return null;
    const headers = keep.headers.read(fromNs, toNs, mostBytes);
    if (!keepsOn) endKeep();
    return headers;
  };
  let timer: NodeJS.Timeout;
  /** @returns how long to rest, ms */
  const beat = (): number => {
    if (watch.isDown) {
      if (!watch.reopen()) return REOPEN_MS;
      poll.add(watch.fd, 0); // closing the old socket took it off the list
    }
    poll.wait(LONGEST_WAIT_MS);
    const isAllTaken = [watch.drain(), drainLook(), keep?.headers.drain() ?? true].every((isAll) => isAll);
    return isAllTaken ? restMs(watch.receiveBufferBytes) : 0; // more is waiting, but messages come first
  };
  const end = (): void => {
    clearTimeout(timer);
    parentPort?.close();
    poll.close();
    endLook();
    endKeep();
  };
  const stop = (): void => {
    end();
    watch.close();
  };
  const beginLook = (): void => {
    endLook();
    try {
      look = new InterfaceLook(setup.interfaceIndex, watch.heardBefore());
      poll.add(look.fd, 1);
    } catch {
      endLook(); // told as none when its end is asked for
    }
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
    if (request.kind === "watch") {
      watch.watch(request.plan);
      beginKeep(request.plan);
    }
    if (request.kind === "begin-look") beginLook();
    if (request.kind === "snapshot") say({ kind: "report", id: request.id, report: watch.report() });
    else if (request.kind === "end-look") {
      drainLook();
      say({ kind: "sight", id: request.id, sight: look?.sight() ?? null });
      endLook();
    } else if (request.kind === "read-headers") {
      say({ kind: "headers", id: request.id, headers: readHeaders(request.ask) });
    } else if (request.kind === "release") {
      say({ kind: "released", id: request.id, handed: watch.handOver() });
      end();
    } else say({ kind: "done", id: request.id });
    if (request.kind === "stop") stop();
  });
  timer = setTimeout(guarded, 0);
  say({ kind: "ready", protocol: WATCHER_PROTOCOL });
}

function giveUp(cause: unknown): void {
  const { code, message, hint } = watcherUnable(setup.interfaceName, cause);
  say({ kind: "unable", code, message, hint });
}
