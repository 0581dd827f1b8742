import { Worker } from "node:worker_threads";
import { Fault, faultCodeOf } from "@dyetrace/wire";
import { readInterface } from "../../data-plane/interface-facts.ts";
import { isLinuxSupported } from "../../sockets/linux/libc.ts";
import { SharedControl } from "../../workers/shared-control.ts";
import type { FollowReport, FollowSetup, FromFollower } from "./follow-protocol.ts";

export interface FollowOptions {
  readonly group: string;
  readonly port: number;
  readonly source: string | null;
  readonly interfaceName: string;
  readonly sockets: "auto" | "linux" | "portable";
  readonly durationNs: number | null;
  readonly stop: AbortSignal;
  readonly onJoined: () => void;
  readonly onReport: (report: FollowReport) => void;
}

/** Listens until `stop` or the duration's end. @throws {Fault} what the host refused */
export async function followGroup(options: FollowOptions): Promise<void> {
  const { name, index, ipv4 } = readInterface(options.interfaceName);
  const control = new SharedControl();
  const kind = options.sockets === "portable" || !isLinuxSupported() ? "portable" : "linux";
  const setup: FollowSetup = {
    interfaceName: name,
    interfaceIndex: index ?? 0,
    interfaceIpv4: ipv4,
    group: options.group,
    port: options.port,
    source: options.source,
    control: control.memory,
    durationNs: options.durationNs,
  };
  const worker = new Worker(new URL(`./${kind}-follow-worker.js`, import.meta.url), { workerData: setup });
  const stop = (): void => control.abort();
  options.stop.addEventListener("abort", stop, { once: true });
  if (options.stop.aborted) stop();
  try {
    await new Promise<void>((resolve, reject) => {
      worker.on("error", reject);
      worker.on("exit", () =>
        reject(new Fault("AGENT_CANNOT", "The listening thread ended unexpectedly", "Try again.")),
      );
      worker.on("message", (message: FromFollower) => {
        if (message.kind === "joined") options.onJoined();
        else if (message.kind === "refused") {
          reject(new Fault(faultCodeOf(message.code), message.message, message.hint));
        } else {
          options.onReport(message.report);
          if (message.kind === "last") resolve();
        }
      });
    });
  } finally {
    options.stop.removeEventListener("abort", stop);
    await worker.terminate();
  }
}
