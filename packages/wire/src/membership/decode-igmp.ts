import { formatIpAddress } from "../ip-address.ts";
import { decodeFloatCode8 } from "./float-code.ts";
import { readGroupRecords } from "./group-records.ts";
import { onesComplementSum } from "./internet-checksum.ts";
import type { MembershipMessage } from "./membership-message.ts";
import { type MembershipPayload, malformed } from "./membership-payload.ts";

const QUERY = 0x11;
const REPORT_V1 = 0x12;
const REPORT_V2 = 0x16;
const LEAVE_V2 = 0x17;
const REPORT_V3 = 0x22;
const TYPES: readonly number[] = [QUERY, REPORT_V1, REPORT_V2, LEAVE_V2, REPORT_V3];
/** IGMPv1 has no Max Resp field: its hosts answer within 10 s (RFC 2236, section 4; RFC 3376, section 7.2.1). */
const V1_RESPONSE_MS = 10_000;

/**
 * IGMP of all three versions. RFC 1112 appendix I; RFC 2236 section 2; RFC 3376 section 4; E bit: RFC 9279.
 * @returns null for other IGMP types
 */
export function decodeIgmp(
  frame: Uint8Array,
  view: DataView,
  payload: MembershipPayload,
  valid: number,
): MembershipMessage | null {
  const { at, lengthBytes, envelope } = payload;
  if (at < valid && !TYPES.includes(view.getUint8(at))) return null;
  if (payload.fault !== null) return malformed(payload, "igmp", payload.fault);
  if (lengthBytes < 8) return malformed(payload, "igmp", "length");
  const type = view.getUint8(at);
  const shared = {
    ...envelope,
    protocol: "igmp" as const,
    checksum: onesComplementSum(view, at, lengthBytes) === 0xffff ? ("good" as const) : ("bad" as const),
  };
  if (type === QUERY) return decodeQuery(frame, view, payload, shared);
  if (type === REPORT_V3) {
    const records = readGroupRecords(frame, view, at, lengthBytes, 4);
    if (records === null) return malformed(payload, "igmp", "length");
    return { ...shared, kind: "report", version: 3, records, hasExtension: (view.getUint8(at + 4) & 0x80) !== 0 };
  }
  const group = formatIpAddress(frame.subarray(at + 4, at + 8));
  if (type === LEAVE_V2) return { ...shared, kind: "leave", version: 2, group };
  const version = type === REPORT_V1 ? 1 : 2;
  return { ...shared, kind: "report", version, records: [{ type: "IS_EX", group, sources: [] }], hasExtension: false };
}

type Shared = MembershipPayload["envelope"] & { readonly protocol: "igmp"; readonly checksum: "good" | "bad" };

function decodeQuery(
  frame: Uint8Array,
  view: DataView,
  payload: MembershipPayload,
  shared: Shared,
): MembershipMessage | null {
  const { at, lengthBytes } = payload;
  const code = view.getUint8(at + 1);
  const groupBytes = frame.subarray(at + 4, at + 8);
  const query = {
    ...shared,
    kind: "query" as const,
    group: view.getUint32(at + 4) === 0 ? null : formatIpAddress(groupBytes),
  };
  const older = {
    ...query,
    sources: [],
    suppressesRouters: null,
    robustness: null,
    queryIntervalMs: null,
    hasExtension: false,
  };
  // RFC 3376 7.1: 8 bytes are v1 or v2 by the Max Resp Code, 12 or more are v3, anything else is ignored
  if (lengthBytes === 8) {
    return code === 0
      ? { ...older, version: 1, maxResponseMs: V1_RESPONSE_MS }
      : { ...older, version: 2, maxResponseMs: code * 100 };
  }
  if (lengthBytes < 12) return malformed(payload, "igmp", "length");
  const sourceCount = view.getUint16(at + 10);
  if (12 + 4 * sourceCount > lengthBytes) return malformed(payload, "igmp", "length");
  const flags = view.getUint8(at + 8);
  const qqic = view.getUint8(at + 9);
  return {
    ...query,
    version: 3,
    sources: Array.from({ length: sourceCount }, (_, i) =>
      formatIpAddress(frame.subarray(at + 12 + 4 * i, at + 16 + 4 * i)),
    ),
    maxResponseMs: decodeFloatCode8(code) * 100,
    suppressesRouters: (flags & 0x08) !== 0,
    robustness: (flags & 0x07) === 0 ? null : flags & 0x07,
    queryIntervalMs: qqic === 0 ? null : decodeFloatCode8(qqic) * 1000,
    hasExtension: (flags & 0x80) !== 0,
  };
}
