import { parentPort, workerData } from "node:worker_threads";
import { InterfaceWatch } from "./interface-watch.ts";
import { type FromWatcher, type ToWatcher, WATCHER_PROTOCOL, type WatcherSetup } from "./watcher-protocol.ts";
import { watcherUnable } from "./watcher-unable.ts";

/**
 * The watcher's thread. It looks for frames at a slow beat rather than waiting for each one: the kernel stamps them
 * with their time and queues them, and taking many at once costs less. The queue holds many beats' worth.
 */
const BEAT_MS = 20;
const REOPEN_MS = 200;

const setup = workerData as WatcherSetup;
const say = (message: FromWatcher): void => parentPort?.postMessage(message);

try {
  watchUntilStopped(new InterfaceWatch(setup));
} catch (cause) {
  giveUp(cause);
}

function watchUntilStopped(watch: InterfaceWatch): void {
  let timer: NodeJS.Timeout;
  const beat = (): void => {
    let waitMs = BEAT_MS;
    if (watch.isDown) waitMs = watch.reopen() ? 0 : REOPEN_MS;
    else if (!watch.drain()) waitMs = 0; // more is waiting; messages come first
    timer = setTimeout(guarded, waitMs);
  };
  const stop = (): void => {
    clearTimeout(timer);
    parentPort?.close();
    watch.close();
  };
  /** A socket that fails for good ends the watch, not the agent. */
  const guarded = (): void => {
    try {
      beat();
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
