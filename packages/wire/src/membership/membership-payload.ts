import { formatIpAddress } from "../ip-address.ts";
import { onesComplementSum } from "./internet-checksum.ts";
import type { MalformedMembership, MembershipEnvelope } from "./membership-message.ts";

/** The content of an IP packet that may be IGMP, MLD or PIM, and what stood around it. */
export interface MembershipPayload {
  readonly envelope: MembershipEnvelope;
  /** IP protocol or last next header: 2, 58 or 103. */
  readonly protocol: number;
  /** Where the IP header and the content begin in the frame. */
  readonly ipAt: number;
  readonly at: number;
  /** Bytes of content by the IP header. All of them lie in the frame unless `fault` is `cut`. */
  readonly lengthBytes: number;
  readonly fault: MalformedMembership["fault"] | null;
}

export const malformed = (
  payload: MembershipPayload,
  protocol: MalformedMembership["protocol"],
  fault: MalformedMembership["fault"],
): MalformedMembership => ({ ...payload.envelope, kind: "malformed", protocol, fault });

export const IGMP = 2;
export const ICMP6 = 58;
export const PIM = 103;

const ETHERNET_BYTES = 14;
const ETHERTYPE_VLAN = 0x8100;
const ETHERTYPE_IPV4 = 0x0800;
const ETHERTYPE_IPV6 = 0x86dd;
const HOP_BY_HOP = 0;
const FRAGMENT = 44;
const DESTINATION_OPTIONS = 60;
/** More extension headers than anyone sends; bounds the walk. */
const MAX_EXTENSION_HEADERS = 8;

/**
 * Takes an Ethernet frame apart down to the content of its IP packet.
 * @param length bytes of `frame` that are valid
 * @returns null for what is neither IGMP nor ICMPv6 nor PIM, and for frames too short for an IP header
 */
export function openMembershipFrame(frame: Uint8Array, view: DataView, length: number): MembershipPayload | null {
  if (length < ETHERNET_BYTES) return null;
  const isTagged = view.getUint16(12) === ETHERTYPE_VLAN;
  const ipAt = isTagged ? ETHERNET_BYTES + 4 : ETHERNET_BYTES;
  if (length < ipAt + 20) return null;
  const vlanId = isTagged ? view.getUint16(14) & 0x0fff : 0;
  const link = {
    sourceMac: macText(frame, 6),
    destinationMac: macText(frame, 0),
    vlanId: vlanId === 0 ? null : vlanId, // id 0 is a priority tag, no VLAN (IEEE 802.1Q)
  };
  const ethertype = view.getUint16(ipAt - 2);
  if (ethertype === ETHERTYPE_IPV4) return openIpv4(frame, view, length, ipAt, link);
  if (ethertype === ETHERTYPE_IPV6) return openIpv6(frame, view, length, ipAt, link);
  return null;
}

type Link = Pick<MembershipEnvelope, "sourceMac" | "destinationMac" | "vlanId">;

/** RFC 791, section 3.1. */
function openIpv4(
  frame: Uint8Array,
  view: DataView,
  length: number,
  ipAt: number,
  link: Link,
): MembershipPayload | null {
  const protocol = view.getUint8(ipAt + 9);
  const headerBytes = (view.getUint8(ipAt) & 0x0f) * 4;
  if (view.getUint8(ipAt) >> 4 !== 4 || headerBytes < 20 || (protocol !== IGMP && protocol !== PIM)) return null;
  const isHeaderWhole = ipAt + headerBytes <= length;
  const totalBytes = view.getUint16(ipAt + 2);
  const fault = !isHeaderWhole
    ? "cut"
    : onesComplementSum(view, ipAt, headerBytes) !== 0xffff
      ? "header-checksum"
      : totalBytes < headerBytes
        ? "length"
        : ipAt + totalBytes > length
          ? "cut"
          : (view.getUint16(ipAt + 6) & 0x3fff) !== 0 // more fragments, or an offset
            ? "fragment"
            : null;
  const envelope = {
    ...link,
    family: 4 as const,
    source: formatIpAddress(frame.subarray(ipAt + 12, ipAt + 16)),
    destination: formatIpAddress(frame.subarray(ipAt + 16, ipAt + 20)),
    ttlHops: view.getUint8(ipAt + 8),
    hasRouterAlert: isHeaderWhole && hasIpv4RouterAlert(view, ipAt + 20, ipAt + headerBytes),
  };
  return { envelope, protocol, ipAt, at: ipAt + headerBytes, lengthBytes: totalBytes - headerBytes, fault };
}

/** Option 148, length 4 (RFC 2113, section 2.1). */
function hasIpv4RouterAlert(view: DataView, from: number, to: number): boolean {
  for (let at = from; at < to; ) {
    const option = view.getUint8(at);
    if (option === 0) return false; // end of options
    if (option === 1) {
      at += 1; // no operation
      continue;
    }
    const optionBytes = at + 1 < to ? view.getUint8(at + 1) : 0;
    if (optionBytes < 2 || at + optionBytes > to) return false;
    if (option === 148 && optionBytes === 4) return true;
    at += optionBytes;
  }
  return false;
}

/** RFC 8200, sections 3 and 4. A routing header, which none of these protocols uses, is not followed. */
function openIpv6(
  frame: Uint8Array,
  view: DataView,
  length: number,
  ipAt: number,
  link: Link,
): MembershipPayload | null {
  if (length < ipAt + 40 || view.getUint8(ipAt) >> 4 !== 6) return null;
  const end = ipAt + 40 + view.getUint16(ipAt + 4);
  let protocol = view.getUint8(ipAt + 6);
  let at = ipAt + 40;
  let hasRouterAlert = false;
  let isFragment = false;
  for (let headers = 0; protocol !== ICMP6 && protocol !== PIM; headers++) {
    if (headers === MAX_EXTENSION_HEADERS || at + 8 > Math.min(end, length)) return null;
    const next = view.getUint8(at);
    if (protocol === FRAGMENT) {
      if ((view.getUint16(at + 2) & 0xfff8) !== 0) return null; // not the first piece: what it belongs to is unknown
      isFragment = true;
      at += 8;
    } else if (protocol === HOP_BY_HOP || protocol === DESTINATION_OPTIONS) {
      const headerBytes = 8 * (view.getUint8(at + 1) + 1);
      if (at + headerBytes > Math.min(end, length)) return null;
      if (protocol === HOP_BY_HOP) hasRouterAlert = hasIpv6RouterAlert(view, at + 2, at + headerBytes);
      at += headerBytes;
    } else {
      return null;
    }
    protocol = next;
  }
  const envelope = {
    ...link,
    family: 6 as const,
    source: formatIpAddress(frame.subarray(ipAt + 8, ipAt + 24)),
    destination: formatIpAddress(frame.subarray(ipAt + 24, ipAt + 40)),
    ttlHops: view.getUint8(ipAt + 7),
    hasRouterAlert,
  };
  const fault = end > length ? "cut" : isFragment ? "fragment" : null;
  return { envelope, protocol, ipAt, at, lengthBytes: end - at, fault };
}

/** Option 5, length 2, value 0 for MLD (RFC 2711, section 2.1). */
function hasIpv6RouterAlert(view: DataView, from: number, to: number): boolean {
  for (let at = from; at < to; ) {
    const option = view.getUint8(at);
    if (option === 0) {
      at += 1; // Pad1
      continue;
    }
    const valueBytes = at + 1 < to ? view.getUint8(at + 1) : to;
    if (at + 2 + valueBytes > to) return false;
    if (option === 5 && valueBytes === 2) return view.getUint16(at + 2) === 0;
    at += 2 + valueBytes;
  }
  return false;
}

/** `01:00:5e:00:00:01` */
function macText(frame: Uint8Array, at: number): string {
  let text = "";
  for (let i = at; i < at + 6; i++) text += (i > at ? ":" : "") + (frame[i] ?? 0).toString(16).padStart(2, "0");
  return text;
}
