import { formatIpAddress } from "../ip-address.ts";
import type { GroupRecord, GroupRecordType } from "./membership-message.ts";

const TYPES: Readonly<Record<number, GroupRecordType>> = {
  1: "IS_IN",
  2: "IS_EX",
  3: "TO_IN",
  4: "TO_EX",
  5: "ALLOW",
  6: "BLOCK",
};

/**
 * The records of an IGMPv3 or MLDv2 report.
 * @param at where the report begins; @param addressBytes 4 or 16
 * @returns null when the counts point past the end of the report
 * @see RFC 3376, sections 4.2.4 to 4.2.12; RFC 3810, sections 5.2.4 to 5.2.12
 */
export function readGroupRecords(
  frame: Uint8Array,
  view: DataView,
  at: number,
  lengthBytes: number,
  addressBytes: 4 | 16,
): readonly GroupRecord[] | null {
  const end = at + lengthBytes;
  const count = view.getUint16(at + 6);
  const records: GroupRecord[] = [];
  let next = at + 8;
  for (let i = 0; i < count; i++) {
    if (next + 4 + addressBytes > end) return null;
    const sourcesAt = next + 4 + addressBytes;
    const sourceCount = view.getUint16(next + 2);
    const auxiliaryBytes = 4 * view.getUint8(next + 1); // carried along, never used: RFC 3376 4.2.10
    if (sourcesAt + sourceCount * addressBytes + auxiliaryBytes > end) return null;
    records.push({
      type: TYPES[view.getUint8(next)] ?? "unknown",
      group: formatIpAddress(frame.subarray(next + 4, sourcesAt)),
      sources: Array.from({ length: sourceCount }, (_, k) =>
        formatIpAddress(frame.subarray(sourcesAt + k * addressBytes, sourcesAt + (k + 1) * addressBytes)),
      ),
    });
    next = sourcesAt + sourceCount * addressBytes + auxiliaryBytes;
  }
  return records;
}
