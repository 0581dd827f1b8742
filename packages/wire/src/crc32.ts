/** CRC-32 as in IEEE 802.3 (reflected polynomial 0xedb88320). The tests hold it to zlib's. */
const TABLE: Uint32Array = new Uint32Array(256).map((_, byte) => {
  let value = byte;
  for (let bit = 0; bit < 8; bit++) value = value & 1 ? (value >>> 1) ^ 0xedb88320 : value >>> 1;
  return value;
});

/** Hot path. @returns the CRC of `length` bytes from offset `at`, as an unsigned 32-bit number */
export function crc32(bytes: Uint8Array, at: number, length: number): number {
  let crc = 0xffffffff;
  for (let i = at; i < at + length; i++) {
    crc = (crc >>> 8) ^ (TABLE[(crc ^ (bytes[i] as number)) & 0xff] as number);
  }
  return (crc ^ 0xffffffff) >>> 0;
}
