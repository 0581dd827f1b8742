import { formatIpAddress, networkOf, parseIpAddress } from "@dyetrace/wire";

/** What one subscriber has at least of IPv6 (RFC 6177): a share for each address would be a share for each guess. */
const SUBSCRIBER_BITS = 64;

/** @param address as a socket tells it @returns the IPv4 address, or the /64 of an IPv6 one: who shares a share */
export function networkOfAddress(address: string): string {
  const ip = parseIpAddress(address.replace(/%.*$/, ""));
  if (ip === null || ip.family === 4) return address;
  const mapped = /^::ffff:(\d+\.\d+\.\d+\.\d+)$/i.exec(address)?.[1];
  return mapped ?? `${formatIpAddress(networkOf(ip, SUBSCRIBER_BITS))}/${SUBSCRIBER_BITS}`;
}
