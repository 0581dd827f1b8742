/**
 * How an agent hands over the headers that it kept, record after record, little-endian:
 *
 * | offset | bytes | field |
 * |---|---|---|
 * | 0 | 8 | when the frame passed, ns after the run's start instant, IEEE 754 |
 * | 8 | 2 | bytes that are kept of it |
 * | 10 | 2 | bytes that it had |
 * | 12 | 2 | VLAN id of the tag that the kernel took off it; 0 without one |
 * | 14 | 1 | 1: this host sent it |
 * | 15 | 1 | 0 |
 * | 16 | | what is kept |
 */
export const RECORD_HEAD_BYTES = 16;

export interface HeaderRecord {
  readonly atNs: number;
  readonly bytes: Uint8Array;
  readonly originalBytes: number;
  /** Null without a tag. */
  readonly vlanId: number | null;
  readonly isOutbound: boolean;
}

const LATEST_NS = 1e18;

/** Reads records that came over the control link. Never throws. @returns null where they are not whole, or no such records */
export function decodeHeaderRecords(bytes: Uint8Array): HeaderRecord[] | null {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const records: HeaderRecord[] = [];
  let at = 0;
  while (at < bytes.length) {
    if (at + RECORD_HEAD_BYTES > bytes.length) return null;
    const atNs = view.getFloat64(at, true);
    const keptBytes = view.getUint16(at + 8, true);
    const originalBytes = view.getUint16(at + 10, true);
    const vlanId = view.getUint16(at + 12, true);
    const end = at + RECORD_HEAD_BYTES + keptBytes;
    if (end > bytes.length || !(Math.abs(atNs) <= LATEST_NS) || vlanId > 4095 || originalBytes < keptBytes) return null;
    records.push({
      atNs,
      bytes: bytes.subarray(at + RECORD_HEAD_BYTES, end),
      originalBytes,
      vlanId: vlanId === 0 ? null : vlanId,
      isOutbound: view.getUint8(at + 14) === 1,
    });
    at = end;
  }
  return records;
}
