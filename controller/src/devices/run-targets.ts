import { describeFault, Fault, type RunProgress } from "@dyetrace/wire";
import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import type { DeviceDesk } from "./device-desk.ts";

/** The devices among a site's nodes. A book of devices that is damaged is no reason not to run. */
export function runTargets(
  desk: DeviceDesk,
  nodes: ReadonlySet<string>,
  say: (progress: RunProgress) => void,
): readonly DeviceTarget[] {
  try {
    return desk.targetsAmong(nodes);
  } catch (error) {
    if (!(error instanceof Fault)) throw error;
    say({ kind: "step", text: `No device is read: ${describeFault(error)}` });
    return [];
  }
}
