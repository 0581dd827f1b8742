import { parentPort, workerData } from "node:worker_threads";
import type { TaskStream } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { parseIpAddress } from "@dyetrace/wire/ip-address";
import { TEST_PACKET_HEADER_BYTES } from "@dyetrace/wire/test-packet";
import { KernelClock } from "../sockets/linux/clock.ts";
import { SystemCallError } from "../sockets/linux/libc.ts";
import { LinuxPacketOut } from "../sockets/linux/linux-packet-out.ts";
import { aheadOfOthers } from "../sockets/linux/thread-priority.ts";
import { sendRefused } from "../sockets/send-refused.ts";
import type { WorkerSetup } from "../workers/worker-protocol.ts";
import type { SenderRun } from "./sender-run.ts";
import { LONGEST_SLEEP_NS, type SenderPlatform, SenderThread } from "./sender-thread.ts";

/** Linux: the thread sleeps in the kernel between due times and reads messages only between runs. */
function linuxPlatform(setup: WorkerSetup): SenderPlatform {
  const clock = new KernelClock();
  return {
    clock: () => clock.now(),
    toWall: (monotonicNs) => {
      clock.pair();
      return clock.toWall(monotonicNs);
    },
    open: (stream) => openOut(stream, setup),
    drive: (run) => aheadOfOthers(() => drive(run, clock)),
  };
}

/** A thread that had no sleep for so long is asked for more than it can do. */
const OVERLOAD_NS = 10e6;
/** Then it rests for this share of that time, so that a real-time thread leaves something of its processor to others. */
const REST_SHARE = 1 / 16;

function drive(run: SenderRun, clock: KernelClock): void {
  let awakeSinceNs = clock.now();
  while (!run.isOver) {
    const wakeNs = run.step();
    const nowNs = clock.now();
    const awakeNs = nowNs - awakeSinceNs;
    if (run.isOver || (wakeNs <= nowNs && awakeNs < OVERLOAD_NS)) continue;
    const restNs = wakeNs > nowNs ? Math.min(wakeNs - nowNs, LONGEST_SLEEP_NS) : awakeNs * REST_SHARE;
    clock.sleepUntil(nowNs + restNs);
    awakeSinceNs = clock.now();
  }
}

function openOut(stream: TaskStream, setup: WorkerSetup): LinuxPacketOut {
  const group = parseIpAddress(stream.group);
  if (group === null) throw new Fault("ADDRESS_INVALID", `"${stream.group}" is no IP address`, "");
  const options = { interfaceIndex: setup.interfaceIndex, ttl: stream.ttl, dscp: stream.dscp };
  try {
    return new LinuxPacketOut(group, stream.port, options, TEST_PACKET_HEADER_BYTES);
  } catch (cause) {
    const why = cause instanceof SystemCallError ? cause.code : String(cause);
    throw sendRefused(stream, setup.interfaceName, why, cause);
  }
}

if (parentPort !== null)
  new SenderThread(parentPort, workerData as WorkerSetup, linuxPlatform(workerData as WorkerSetup));
