import { readFileSync } from "node:fs";
import type { RunStart } from "../store/run-record.ts";

/** Which boot of this machine it is, so that a stored monotonic instant is not taken for one of another boot. */
export function bootId(): string {
  try {
    return readFileSync("/proc/sys/kernel/random/boot_id", "utf8").trim();
  } catch {
    return "unknown";
  }
}

export const controllerStart = (startNs: number, startedAt: Date): RunStart => ({
  wallMs: startedAt.getTime(),
  controllerNs: startNs,
  bootId: bootId(),
});
