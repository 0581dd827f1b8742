import type { IpAddress } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { parseIpAddress } from "@dyetrace/wire/ip-address";

/** A block of addresses, from a text such as `239.195.0.0/16` or `ff15::/16`; a bare address is a block of one. */
export interface GroupRange {
  readonly address: IpAddress;
  readonly prefixBits: number;
}

/** @throws {Fault} ADDRESS_INVALID */
export function parseGroupRange(text: string): GroupRange {
  const [host = "", prefix, ...rest] = text.split("/");
  const address = parseIpAddress(host);
  const widthBits = address?.family === 6 ? 128 : 32;
  const prefixBits = prefix === undefined ? widthBits : Number(prefix);
  if (address === null || rest.length > 0 || !/^[0-9]{1,3}$/.test(prefix ?? "0") || prefixBits > widthBits) {
    throw new Fault("ADDRESS_INVALID", `"${text}" is no range of addresses`, "Write, for example, 239.195.0.0/16");
  }
  return { address, prefixBits };
}

export function isInRange(address: IpAddress, range: GroupRange): boolean {
  if (address.family !== range.address.family) return false;
  for (let bit = 0; bit < range.prefixBits; bit += 8) {
    const mask = 0xff & (0xff00 >> Math.min(8, range.prefixBits - bit));
    if (((address.bytes[bit >> 3] ?? 0) & mask) !== ((range.address.bytes[bit >> 3] ?? 0) & mask)) return false;
  }
  return true;
}
