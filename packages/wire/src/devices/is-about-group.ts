import { groupMac, parseIpAddress } from "../ip-address.ts";

/** Whether a row of a device's group table is about a group: by its address, or by the Ethernet address that 32 groups share. */
export function isAboutGroup(row: string, group: string): boolean {
  if (row === group) return true;
  const address = parseIpAddress(group);
  return address !== null && row === groupMac(address);
}
