import { formatDurationNs } from "@dyetrace/wire";
import { readClockQuality } from "../../sockets/linux/clock-quality.ts";
import { isLinuxSupported } from "../../sockets/linux/libc.ts";
import { type CheckResult, good, know, unknown } from "./check-result.ts";
import { readText } from "./read-setting.ts";

/** Only one-way delay needs a common clock; loss, gaps, jitter, join and leave delay do not. */
export function checkClock(): CheckResult[] {
  return [checkSteering(), checkSource()];
}

function checkSteering(): CheckResult {
  const name = "clock";
  if (!isLinuxSupported()) return unknown(name, "whether a time service steers the clock cannot be read");
  const { isSteered, mostErrorNs } = readClockQuality();
  return isSteered
    ? good(name, `steered by a time service, within ${formatDurationNs(mostErrorNs)} by its own account`)
    : know(
        name,
        "no time service steers the wall clock: one-way delay has no meaning here",
        "timedatectl set-ntp true",
      );
}

function checkSource(): CheckResult {
  const name = "clock source";
  const source = readText("/sys/devices/system/clocksource/clocksource0/current_clocksource")?.trim();
  if (source === undefined) return unknown(name, "it cannot be read");
  const isSlow = source === "hpet" || source === "acpi_pm" || source === "jiffies";
  return isSlow
    ? know(
        name,
        `${source}: each look at the clock takes a microsecond or more`,
        "Boot with clocksource=tsc, if the hardware allows.",
      )
    : good(name, source);
}
