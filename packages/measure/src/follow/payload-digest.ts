const FIRST = 0x9e3779b1;
const SECOND = 0x85ebca6b;
const THIRD = 0xc2b2ae35;

/**
 * A 32-bit digest of a UDP payload: what a packet without a sequence number is named by. The payload is invariant on the way
 * (RFC 5474, section 5.3), addresses and headers are not looked at, so every host that gets the packet finds the same name.
 * One function serves for selection and for the name; RFC 5475, section 6.2 asks that it spreads evenly, which the tests hold it
 * to. Hot path: no allocation, each word is read once. @returns 1 to 2^32 - 1; 0 stands for no packet
 */
export function payloadDigest(bytes: Uint8Array, at: number, length: number): number {
  if (view.buffer !== bytes.buffer || view.byteOffset !== bytes.byteOffset) {
    view = new DataView(bytes.buffer, bytes.byteOffset);
  }
  const end = at + length;
  let a = length ^ FIRST;
  let b = SECOND;
  let i = at;
  for (; i + 8 <= end; i += 8) {
    a = Math.imul(a ^ view.getInt32(i, true), FIRST);
    b = Math.imul(b ^ view.getInt32(i + 4, true), THIRD);
    // A product hands the upper bits of a difference on to nobody: they are brought down.
    a ^= a >>> 15;
    b ^= b >>> 17;
  }
  for (; i < end; i++) {
    a = Math.imul(a ^ (bytes[i] as number), SECOND);
    a ^= a >>> 15;
  }
  let digest = a ^ Math.imul(b, FIRST);
  digest = Math.imul(digest ^ (digest >>> 16), SECOND);
  digest = Math.imul(digest ^ (digest >>> 13), THIRD);
  digest = (digest ^ (digest >>> 16)) >>> 0;
  return digest === 0 ? 1 : digest;
}

/** Over the buffer that packets were last read from: they all stand in one, and words are read faster than bytes. */
let view: DataView = new DataView(new ArrayBuffer(0));

/**
 * Whether a name is among those that are compared: hash-range selection (RFC 5475, section 6.2.2.2), one in 2^shift. What a
 * greater shift selects, a smaller one does too.
 */
export const isSelected = (digest: number, shift: number): boolean => shift === 0 || digest >>> (32 - shift) === 0;

/** Beyond this nothing of a stream would be left to compare. */
export const MOST_SHIFT = 16;
