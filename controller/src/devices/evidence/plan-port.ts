import type { DevicePort } from "@dyetrace/wire/devices/device-port";

/** A port of the plan that an interface of the device is, or is a part of. */
export interface PlanPort {
  readonly port: string;
  /** Where the interface stands for one VLAN of the port; null: for all of it. */
  readonly vlan: number | null;
}

/**
 * Which port of the plan a device's interface is: by the name that it announces, its own name, the staff's word for it or the number
 * of the bridge's port, in this order. Practice sites put a `p` before names that begin with a digit, and the VLAN behind them.
 * @param planned ports of the node in the plan @returns null where it is none of them, or more than one could be meant
 */
export function planPortOf(
  planned: readonly string[],
  { name, announcedAs, alias, number }: Pick<DevicePort, "name" | "announcedAs" | "alias" | "number">,
): PlanPort | null {
  const vlanText = /\.(\d{1,4})$/.exec(name)?.[1];
  const whole = vlanText === undefined ? name : name.slice(0, -vlanText.length - 1);
  const isPart = vlanText !== undefined && !planned.includes(name);
  const vlan = isPart ? Number(vlanText) : null;
  const words = [announcedAs, name, whole, withoutLetter(whole), alias, number === null ? null : String(number)];
  for (const word of words) {
    const same = planned.find((port) => port === word);
    if (same !== undefined) return { port: same, vlan };
  }
  return null;
}

const withoutLetter = (name: string): string | null => /^p(\d.*)$/.exec(name)?.[1] ?? null;
