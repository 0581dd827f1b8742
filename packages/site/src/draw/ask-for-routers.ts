import type { DrawnDevice } from "./drawn-device.ts";
import type { HostFacts } from "./host-facts.ts";

/** Routers by which hosts send, and that are none of the devices that were seen. @returns questions */
export function askForRouters(hosts: readonly HostFacts[], devices: readonly DrawnDevice[]): string[] {
  const addresses = new Set(devices.flatMap(({ reading }) => (reading?.addresses ?? []).map(({ address }) => address)));
  const macs = new Set(devices.flatMap(({ ownMacs }) => ownMacs));
  const unknown = new Map<string, string[]>();
  for (const { name, surroundings } of hosts) {
    for (const { address, mac } of surroundings.gateways) {
      if (addresses.has(address) || (mac !== null && macs.has(mac))) continue;
      unknown.set(address, [...(unknown.get(address) ?? []), name]);
    }
  }
  return [...unknown].map(
    ([address, names]) =>
      `Which device is the router ${address}? ${names.slice(0, 3).join(", ")}${names.length > 3 ? ` and ${names.length - 3} more` : ""} send by it, and no device that was seen has that address`,
  );
}
