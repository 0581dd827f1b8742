import { existsSync, mkdirSync, rmSync } from "node:fs";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { writeWhole } from "../files/write-whole.ts";

/** In the agent's data folder, while nothing may be sent from this host. It outlasts the agent and the machine's boots. */
const fileIn = (dataFolder: string): string => path.join(dataFolder, "stopped");
const LOOK_MS = 250;
/** Where the agent that was installed keeps its data (deploy/agent has the unit). */
const INSTALLED = "/var/lib/dyetrace-agent";

/** Completes "sending …". */
export const STOPPED_ON_HOST = "was stopped on this host, with dyetrace-agent stop";

/** Refuses what would be sent without an agent, such as by `send`. @throws {Fault} GUARD_REFUSED while this host is stopped */
export function refuseWhileStopped(dataFolder: string): void {
  const stopped = [dataFolder, INSTALLED].find((folder) => existsSync(fileIn(folder)));
  if (stopped === undefined) return;
  throw new Fault(
    "GUARD_REFUSED",
    `Sending ${STOPPED_ON_HOST}`,
    `Once whoever stopped it agrees: \`dyetrace-agent allow --data ${stopped}\``,
  );
}

/** Says that nothing more may be sent from this host. */
export function stopHost(dataFolder: string): void {
  mkdirSync(dataFolder, { recursive: true, mode: 0o700 });
  writeWhole(fileIn(dataFolder), `${new Date().toISOString()}\n`, 0o644);
}

/** @returns whether it had been stopped */
export function releaseHost(dataFolder: string): boolean {
  const wasStopped = existsSync(fileIn(dataFolder));
  rmSync(fileIn(dataFolder), { force: true });
  return wasStopped;
}

/** What whoever sits at this host has said, whatever its controller says. */
export interface HostStop extends Disposable {
  readonly isStopped: boolean;
}

/** @param onStop called when it is said, a quarter of a second later at most */
export function watchHostStop(dataFolder: string, onStop: () => void): HostStop {
  const look = (): boolean => existsSync(fileIn(dataFolder));
  let isStopped = look();
  const timer = setInterval(() => {
    const was = isStopped;
    isStopped = look();
    if (isStopped && !was) onStop();
  }, LOOK_MS);
  timer.unref();
  return {
    get isStopped() {
      return look();
    },
    [Symbol.dispose]: () => clearInterval(timer),
  };
}
