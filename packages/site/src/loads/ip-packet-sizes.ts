/** Largest IP packet in one Ethernet frame (RFC 894, RFC 2464). Jumbo frames are not assumed. */
const MTU_BYTES = 1500;
const UDP_HEADER_BYTES = 8;
const IPV4_HEADER_BYTES = 20;
const IPV6_HEADER_BYTES = 40;
const IPV6_FRAGMENT_HEADER_BYTES = 8; // RFC 8200 section 4.5

/**
 * Sizes of the IP packets that carry one UDP datagram: one, or the fragments that a 1500-byte MTU makes of it.
 * @param payloadBytes UDP payload
 * @see RFC 791 section 3.2 and RFC 8200 section 4.5: all fragments but the last hold a multiple of 8 bytes
 */
export function ipPacketSizes(payloadBytes: number, family: 4 | 6): number[] {
  const headerBytes = family === 4 ? IPV4_HEADER_BYTES : IPV6_HEADER_BYTES;
  const carriedBytes = UDP_HEADER_BYTES + payloadBytes;
  if (headerBytes + carriedBytes <= MTU_BYTES) return [headerBytes + carriedBytes];
  const fragmentHeaderBytes = family === 4 ? headerBytes : headerBytes + IPV6_FRAGMENT_HEADER_BYTES;
  const perFragment = Math.floor((MTU_BYTES - fragmentHeaderBytes) / 8) * 8;
  const sizes: number[] = [];
  for (let restBytes = carriedBytes; restBytes > 0; restBytes -= perFragment) {
    sizes.push(fragmentHeaderBytes + Math.min(restBytes, perFragment));
  }
  return sizes;
}
