import { formatIpAddress, type IpAddress, isInRange, networkOf, parseIpAddress } from "@dyetrace/wire";

/**
 * A subnet such as `192.0.2.0/24`. ipaddr.js (2.5.0) was tried: it takes bits beyond the prefix and a prefix of `/024`,
 * which are mistakes in a plan, and has no nth address of a subnet. cidr-tools and ip-bigint ask for a later Node.
 */
export interface Subnet {
  readonly base: IpAddress;
  readonly prefixBits: number;
}

/** @returns null if `text` is no address with a prefix length, or bits are set beyond the prefix */
export function parseSubnet(text: string): Subnet | null {
  const [, written = "", length = ""] = /^([^/]+)\/(0|[1-9][0-9]{0,2})$/.exec(text) ?? [];
  const base = parseIpAddress(written);
  const prefixBits = Number(length);
  if (base === null || length === "" || prefixBits > base.bytes.length * 8) return null;
  const first = networkOf(base, prefixBits);
  return base.bytes.every((byte, at) => byte === first[at]) ? { base, prefixBits } : null;
}

export const isInSubnet = ({ base, prefixBits }: Subnet, address: IpAddress): boolean =>
  isInRange(address, { address: base, prefixBits });

/** @returns the address `number` after the subnet's own, as text; null where it lies outside (or is IPv4's broadcast) */
export function addressInSubnet({ base, prefixBits }: Subnet, number: number): string | null {
  const bytes = Uint8Array.from(base.bytes);
  let carry = number;
  for (let at = bytes.length - 1; at >= 0 && carry > 0; at--) {
    const sum = (bytes[at] ?? 0) + carry;
    bytes[at] = sum & 0xff;
    carry = Math.floor(sum / 256);
  }
  const hostBits = base.bytes.length * 8 - prefixBits;
  const isBroadcast = base.family === 4 && hostBits > 1 && number === 2 ** hostBits - 1;
  return carry > 0 || isBroadcast || !isInSubnet({ base, prefixBits }, { family: base.family, bytes })
    ? null
    : formatIpAddress(bytes);
}

export const doSubnetsOverlap = (a: Subnet, b: Subnet): boolean =>
  a.prefixBits <= b.prefixBits ? isInSubnet(a, b.base) : isInSubnet(b, a.base);
