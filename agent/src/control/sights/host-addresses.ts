import { networkInterfaces } from "node:os";

const MOST_ADDRESSES = 64;

/** Addresses of an interface with their prefix lengths, without zones. */
export const addressesOf = (interfaceName: string): string[] =>
  (networkInterfaces()[interfaceName] ?? [])
    .flatMap(({ cidr }) => cidr ?? [])
    .map((cidr) => cidr.replace(/%[^/]*/, ""))
    .slice(0, MOST_ADDRESSES);

/** @returns null where it has no address, or none of Ethernet */
export function macOf(interfaceName: string): string | null {
  const mac = networkInterfaces()[interfaceName]?.[0]?.mac ?? "";
  return /^([0-9a-f]{2}:){5}[0-9a-f]{2}$/.test(mac) && mac !== "00:00:00:00:00:00" ? mac : null;
}
