/**
 * One's complement sum of 16-bit words, folded, not inverted; an odd last byte counts as the upper half of a word.
 * Over data that include their own checksum it is 0xffff when they are whole.
 * @param start sum of what comes before, for a pseudo-header
 * @see RFC 1071, sections 1 and 2
 */
export function onesComplementSum(view: DataView, at: number, length: number, start = 0): number {
  let sum = start;
  const even = at + (length & ~1);
  for (let i = at; i < even; i += 2) sum += view.getUint16(i);
  if (length & 1) sum += view.getUint8(even) << 8;
  while (sum > 0xffff) sum = (sum & 0xffff) + Math.floor(sum / 0x10000);
  return sum;
}

/**
 * Sum of the IPv6 pseudo-header: both addresses, length and next header (RFC 8200, section 8.1).
 * @param ipAt where the IPv6 header begins
 */
export function pseudoHeaderSum(view: DataView, ipAt: number, length: number, nextHeader: number): number {
  return onesComplementSum(view, ipAt + 8, 32, (length >>> 16) + (length & 0xffff) + nextHeader);
}
