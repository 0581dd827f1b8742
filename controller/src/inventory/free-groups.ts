import { formatIpAddress, groupKey, isMulticast, parseIpAddress } from "@dyetrace/wire";

const MOST_PER_FAMILY = 4;
/** Groups of 239.192.0.0/14 (RFC 2365 section 6.2) are tried from here on, in steps of a /24: one for each use. */
const FIRST_IPV4: readonly [number, number] = [192, 16];

/**
 * Groups that share no Ethernet address with any in use: of IPv4 from the organisation's own range (RFC 2365 section 6.2), of
 * IPv6 transient ones of organization-local scope with a group id that is free to allocate (RFC 3307 section 4.3).
 * @param inUse groups that were seen or asked for @returns IPv4 first; always the same for the same site
 */
export function suggestFreeGroups(inUse: readonly string[]): string[] {
  const addresses = inUse.flatMap((text) => parseIpAddress(text) ?? []).filter(isMulticast);
  const taken = { 4: new Set<number>(), 6: new Set<number>() };
  const blocks = new Set<number>();
  for (const { family, bytes } of addresses) {
    taken[family].add(groupKey(bytes));
    if (family === 4) blocks.add(groupKey(bytes) >>> 8);
  }
  const ipv4: string[] = [];
  for (let block = FIRST_IPV4[0] * 256 + FIRST_IPV4[1]; block < 196 * 256 && ipv4.length < MOST_PER_FAMILY; block++) {
    const bytes = Uint8Array.of(239, block >>> 8, block & 0xff, 1);
    const key = groupKey(bytes);
    // A block of its own, so that neighbours of a group in use stay free for whoever planned that one.
    if (!blocks.has(key >>> 8) && !taken[4].has(key)) ipv4.push(formatIpAddress(bytes));
  }
  const ipv6: string[] = [];
  for (let id = 1; id < 0x10000 && ipv6.length < MOST_PER_FAMILY; id++) {
    const bytes = new Uint8Array(16);
    bytes.set([0xff, 0x18]);
    bytes.set([0x80, 0, id >>> 8, id & 0xff], 12);
    if (!taken[6].has(groupKey(bytes))) ipv6.push(formatIpAddress(bytes));
  }
  return [...ipv4, ...ipv6];
}
