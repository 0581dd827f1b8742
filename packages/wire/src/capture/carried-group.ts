import { formatIpAddress } from "../ip-address.ts";
import { type AirDataFrame, addressAt, isGroupAddress } from "./air-frame.ts";

/** A group that a frame carries something for, as far as it is readable. */
export interface CarriedGroup {
  /** The IP group; null where it is not readable: encrypted, cut off, a later fragment. */
  readonly group: string | null;
  /** The group's link-layer address; null in a frame to one station, which does not bear it. */
  readonly linkAddress: string | null;
}

const LLC_SNAP_BYTES = 8;
const [IPV4, IPV6, VLAN] = [0x0800, 0x86dd, 0x8100];
const SUBFRAME_HEADER_BYTES = 14;
/** An A-MSDU of 11 kB holds fewer (IEEE 802.11-2020, 9.3.2.1). */
const MOST_SUBFRAMES = 256;

/**
 * Which groups a data frame carries something for: none for unicast of other kinds and for broadcast. Null where that
 * can't be told, because the frame is for one station and encrypted. Never throws.
 * @param bytes of the whole MAC frame, without FCS
 */
export function carriedGroups(frame: AirDataFrame, bytes: Uint8Array): CarriedGroup[] | null {
  if (frame.isAmsdu) return frame.isEncrypted ? null : groupsOfAmsdu(frame, bytes);
  const linkAddress = groupOrNull(frame.destination);
  const isReadable = !frame.isEncrypted && !(frame.isFragment && linkAddress !== null);
  const group = isReadable ? groupInPacket(bytes, frame.payloadAt) : null;
  if (linkAddress !== null) return [{ group, linkAddress }];
  if (frame.destination === BROADCAST) return [];
  if (frame.isEncrypted) return null;
  return group === null ? [] : [{ group, linkAddress: null }];
}

const BROADCAST = "ff:ff:ff:ff:ff:ff";

const groupOrNull = (address: string | null): string | null =>
  address !== null && address !== BROADCAST && isGroupAddress(address) ? address : null;

/** Each part has addresses and a length, and is padded to 4 bytes. Groups are told once. */
function groupsOfAmsdu({ payloadAt }: AirDataFrame, bytes: Uint8Array): CarriedGroup[] {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const found = new Map<string, CarriedGroup>();
  let at = payloadAt;
  for (let part = 0; part < MOST_SUBFRAMES && at + SUBFRAME_HEADER_BYTES <= bytes.byteLength; part++) {
    const linkAddress = groupOrNull(addressAt(view, at));
    const partBytes = view.getUint16(at + 12);
    const group = groupInPacket(bytes.subarray(0, at + SUBFRAME_HEADER_BYTES + partBytes), at + SUBFRAME_HEADER_BYTES);
    if (linkAddress !== null || group !== null) found.set(`${group} ${linkAddress}`, { group, linkAddress });
    at += Math.ceil((SUBFRAME_HEADER_BYTES + partBytes) / 4) * 4;
  }
  return [...found.values()];
}

/** @param at where the LLC header stands @returns the IP packet's destination, if that is a group */
function groupInPacket(bytes: Uint8Array, at: number): string | null {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (at + LLC_SNAP_BYTES > bytes.byteLength || view.getUint32(at) !== 0xaaaa0300) return null;
  let [typeAt, ipAt] = [at + 6, at + LLC_SNAP_BYTES];
  if (view.getUint16(typeAt) === VLAN && ipAt + 4 <= bytes.byteLength) [typeAt, ipAt] = [typeAt + 4, ipAt + 4];
  const type = view.getUint16(typeAt);
  if (type === IPV4 && ipAt + 20 <= bytes.byteLength) {
    return (view.getUint8(ipAt + 16) & 0xf0) === 0xe0 ? formatIpAddress(bytes.subarray(ipAt + 16, ipAt + 20)) : null;
  }
  if (type === IPV6 && ipAt + 40 <= bytes.byteLength) {
    return view.getUint8(ipAt + 24) === 0xff ? formatIpAddress(bytes.subarray(ipAt + 24, ipAt + 40)) : null;
  }
  return null;
}

/** Which groups share a link-layer address: `one of 32 groups`, RFC 1112 section 6.4; IPv6 by RFC 2464 section 7. */
export function sayGroupsOf(linkAddress: string): string {
  const bytes = linkAddress.split(":").map((part) => Number.parseInt(part, 16));
  const [, , , second = 0, third = 0, fourth = 0] = bytes;
  if (linkAddress.startsWith("01:00:5e:") && second < 128) {
    return `one of 32 groups: 224 to 239, then .${second} or .${second + 128}, then .${third}.${fourth}`;
  }
  if (linkAddress.startsWith("33:33:")) {
    const low = linkAddress.slice(6).replaceAll(":", "");
    return `an IPv6 group that ends in :${low.slice(0, 4)}:${low.slice(4)}`;
  }
  return "no IP group";
}
