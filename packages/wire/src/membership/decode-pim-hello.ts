import { formatIpAddress } from "../ip-address.ts";
import { onesComplementSum, pseudoHeaderSum } from "./internet-checksum.ts";
import type { MembershipMessage, PimHello } from "./membership-message.ts";
import { type MembershipPayload, malformed, PIM } from "./membership-payload.ts";

const VERSION_2_HELLO = 0x20;
const HOLDTIME = 1;
const LAN_PRUNE_DELAY = 2;
const DESIGNATED_ROUTER_PRIORITY = 19;
const GENERATION_ID = 20;
const ADDRESS_LIST = 24;
/** Length that an option must have; the others have any. */
const OPTION_BYTES: Readonly<Record<number, number>> = {
  [HOLDTIME]: 2,
  [LAN_PRUNE_DELAY]: 4,
  [DESIGNATED_ROUTER_PRIORITY]: 4,
  [GENERATION_ID]: 4,
};

/**
 * PIM version 2 hello over IPv4 or IPv6.
 * @returns null for every other PIM message
 * @see RFC 7761, sections 4.9 (header, checksum) and 4.9.2 (options)
 */
export function decodePimHello(
  frame: Uint8Array,
  view: DataView,
  payload: MembershipPayload,
  valid: number,
): MembershipMessage | null {
  const { at, lengthBytes, envelope } = payload;
  if (at >= valid || lengthBytes < 1 || view.getUint8(at) !== VERSION_2_HELLO) return null;
  if (payload.fault !== null) return malformed(payload, "pim", payload.fault);
  if (lengthBytes < 4) return malformed(payload, "pim", "length");
  const options = readOptions(frame, view, at + 4, at + lengthBytes);
  if (options === null) return malformed(payload, "pim", "length");
  const start = envelope.family === 6 ? pseudoHeaderSum(view, payload.ipAt, lengthBytes, PIM) : 0;
  const checksum = onesComplementSum(view, at, lengthBytes, start) === 0xffff ? "good" : "bad";
  return { ...envelope, kind: "pim-hello", protocol: "pim", checksum, ...options };
}

type Options = Pick<
  PimHello,
  "holdtimeMs" | "lanPruneDelay" | "designatedRouterPriority" | "generationId" | "secondaryAddresses" | "otherOptions"
>;

/** @returns null when an option has a length that it cannot have */
function readOptions(frame: Uint8Array, view: DataView, from: number, end: number): Options | null {
  let holdtimeMs: Options["holdtimeMs"] = null;
  let lanPruneDelay: Options["lanPruneDelay"] = null;
  let designatedRouterPriority: number | null = null;
  let generationId: number | null = null;
  let secondaryAddresses: readonly string[] = [];
  const otherOptions: number[] = [];
  for (let at = from; at < end; ) {
    if (at + 4 > end) return null;
    const type = view.getUint16(at);
    const valueBytes = view.getUint16(at + 2);
    const valueAt = at + 4;
    if (valueAt + valueBytes > end || valueBytes !== (OPTION_BYTES[type] ?? valueBytes)) return null;
    if (type === HOLDTIME) {
      const seconds = view.getUint16(valueAt);
      holdtimeMs = seconds === 0xffff ? "forever" : seconds * 1000;
    } else if (type === LAN_PRUNE_DELAY) {
      lanPruneDelay = {
        canDisableJoinSuppression: (view.getUint8(valueAt) & 0x80) !== 0,
        propagationMs: view.getUint16(valueAt) & 0x7fff,
        overrideMs: view.getUint16(valueAt + 2),
      };
    } else if (type === DESIGNATED_ROUTER_PRIORITY) {
      designatedRouterPriority = view.getUint32(valueAt);
    } else if (type === GENERATION_ID) {
      generationId = view.getUint32(valueAt);
    } else if (type === ADDRESS_LIST) {
      const addresses = readAddressList(frame, valueAt, valueAt + valueBytes);
      if (addresses === null) return null;
      secondaryAddresses = addresses;
    } else {
      otherOptions.push(type);
    }
    at = valueAt + valueBytes;
  }
  return { holdtimeMs, lanPruneDelay, designatedRouterPriority, generationId, secondaryAddresses, otherOptions };
}

/** Encoded-unicast addresses of native encoding: family 1 is IPv4, 2 is IPv6 (RFC 7761, section 4.9.1). */
function readAddressList(frame: Uint8Array, from: number, end: number): readonly string[] | null {
  const addresses: string[] = [];
  for (let at = from; at < end; ) {
    const addressBytes = frame[at] === 1 ? 4 : frame[at] === 2 ? 16 : 0;
    if (addressBytes === 0 || frame[at + 1] !== 0 || at + 2 + addressBytes > end) return null;
    addresses.push(formatIpAddress(frame.subarray(at + 2, at + 2 + addressBytes)));
    at += 2 + addressBytes;
  }
  return addresses;
}
