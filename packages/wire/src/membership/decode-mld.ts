import { formatIpAddress } from "../ip-address.ts";
import { decodeFloatCode8, decodeFloatCode16 } from "./float-code.ts";
import { readGroupRecords } from "./group-records.ts";
import { onesComplementSum, pseudoHeaderSum } from "./internet-checksum.ts";
import type { MembershipMessage } from "./membership-message.ts";
import { ICMP6, type MembershipPayload, malformed } from "./membership-payload.ts";

const QUERY = 130;
const REPORT_V1 = 131;
const DONE_V1 = 132;
const REPORT_V2 = 143;
const TYPES: readonly number[] = [QUERY, REPORT_V1, DONE_V1, REPORT_V2];

/**
 * MLD of both versions. RFC 2710 section 3; RFC 3810 section 5; E bit: RFC 9279.
 * @returns null for every other ICMPv6 message
 */
export function decodeMld(
  frame: Uint8Array,
  view: DataView,
  payload: MembershipPayload,
  valid: number,
): MembershipMessage | null {
  const { at, lengthBytes, envelope } = payload;
  if (at >= valid || lengthBytes < 1) return null;
  const type = view.getUint8(at);
  if (!TYPES.includes(type)) return null;
  if (payload.fault !== null) return malformed(payload, "mld", payload.fault);
  if (lengthBytes < (type === REPORT_V2 ? 8 : 24)) return malformed(payload, "mld", "length");
  const sum = onesComplementSum(view, at, lengthBytes, pseudoHeaderSum(view, payload.ipAt, lengthBytes, ICMP6));
  const shared = {
    ...envelope,
    protocol: "mld" as const,
    checksum: sum === 0xffff ? ("good" as const) : ("bad" as const),
  };
  if (type === QUERY) return decodeQuery(frame, view, payload, shared);
  if (type === REPORT_V2) {
    const records = readGroupRecords(frame, view, at, lengthBytes, 16);
    if (records === null) return malformed(payload, "mld", "length");
    return { ...shared, kind: "report", version: 2, records, hasExtension: (view.getUint8(at + 4) & 0x80) !== 0 };
  }
  const group = formatIpAddress(frame.subarray(at + 8, at + 24));
  if (type === DONE_V1) return { ...shared, kind: "leave", version: 1, group };
  return {
    ...shared,
    kind: "report",
    version: 1,
    records: [{ type: "IS_EX", group, sources: [] }],
    hasExtension: false,
  };
}

type Shared = MembershipPayload["envelope"] & { readonly protocol: "mld"; readonly checksum: "good" | "bad" };

function decodeQuery(
  frame: Uint8Array,
  view: DataView,
  payload: MembershipPayload,
  shared: Shared,
): MembershipMessage | null {
  const { at, lengthBytes } = payload;
  const code = view.getUint16(at + 4);
  const groupBytes = frame.subarray(at + 8, at + 24);
  const isGeneral = groupBytes.every((byte) => byte === 0);
  const query = { ...shared, kind: "query" as const, group: isGeneral ? null : formatIpAddress(groupBytes) };
  // RFC 3810 8.1: 24 bytes are v1, 28 or more are v2, anything else is ignored
  if (lengthBytes === 24) {
    return {
      ...query,
      version: 1,
      sources: [],
      maxResponseMs: code,
      suppressesRouters: null,
      robustness: null,
      queryIntervalMs: null,
      hasExtension: false,
    };
  }
  if (lengthBytes < 28) return malformed(payload, "mld", "length");
  const sourceCount = view.getUint16(at + 26);
  if (28 + 16 * sourceCount > lengthBytes) return malformed(payload, "mld", "length");
  const flags = view.getUint8(at + 24);
  const qqic = view.getUint8(at + 25);
  return {
    ...query,
    version: 2,
    sources: Array.from({ length: sourceCount }, (_, i) =>
      formatIpAddress(frame.subarray(at + 28 + 16 * i, at + 44 + 16 * i)),
    ),
    maxResponseMs: decodeFloatCode16(code),
    suppressesRouters: (flags & 0x08) !== 0,
    robustness: (flags & 0x07) === 0 ? null : flags & 0x07,
    queryIntervalMs: qqic === 0 ? null : decodeFloatCode8(qqic) * 1000,
    hasExtension: (flags & 0x80) !== 0,
  };
}
