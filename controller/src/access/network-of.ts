import { formatIpAddress, networkOf, parseIpAddress } from "@dyetrace/wire";

/** What one subscriber has at least of IPv6 (RFC 6177): a share for each address would be a share for each guess. */
const SUBSCRIBER_BITS = 64;

/** `::ffff:0:0/96` (RFC 4291, section 2.5.5.2): how a socket for both families tells an IPv4 address. */
const MAPPED = "0,0,0,0,0,0,0,0,0,0,255,255";

/**
 * Whose share it is: every limit that is meant for one subscriber goes by this, and none by the address itself.
 * @param address as a socket tells it @returns the IPv4 address, or the /64 of an IPv6 one
 */
export function networkOfAddress(address: string): string {
  const ip = parseIpAddress(address.replace(/%.*$/, ""));
  if (ip === null || ip.family === 4) return address;
  const isMapped = ip.bytes.subarray(0, 12).join() === MAPPED;
  if (isMapped) return formatIpAddress(ip.bytes.subarray(12));
  return `${formatIpAddress(networkOf(ip, SUBSCRIBER_BITS))}/${SUBSCRIBER_BITS}`;
}
