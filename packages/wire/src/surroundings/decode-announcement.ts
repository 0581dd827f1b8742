import { withoutControls } from "../bounds.ts";
import { CAPABILITIES } from "../devices/capability.ts";
import { formatIpAddress } from "../ip-address.ts";
import { type Announcement, MOST_ANNOUNCED_ADDRESSES, MOST_ANNOUNCED_VLANS } from "./surroundings-schema.ts";

const ETHERTYPE_LLDP = 0x88cc;
const HEADER_BYTES = 14;
const LONGEST_TEXT = 255;

/** Types of TLVs (IEEE 802.1AB, table 8-1). */
const [END, CHASSIS, PORT, TTL, PORT_DESCRIPTION, SYSTEM_NAME, SYSTEM_DESCRIPTION, CAPABILITY, MANAGEMENT] = [
  0, 1, 2, 3, 4, 5, 6, 7, 8,
];
const ORGANISATION = 127;
/** Of IEEE 802.1Q, annex D: what an organisation's TLV begins with. */
const OUI_802_1 = 0x0080c2;

type Writable = { -readonly [Key in keyof Announcement]: Announcement[Key] };

/**
 * Reads the announcement of a neighbour. Chassis, port and time to live come first and once (IEEE 802.1AB, 8.2); an optional part that
 * is cut or wrong is passed over, as a receiver does (9.2.7.7.2), and whatever stands behind a TLV that is too long is lost.
 * @param frame one Ethernet frame, from its first octet @returns null if it is no announcement; never throws
 */
export function decodeAnnouncement(frame: Uint8Array): Announcement | null {
  const view = new DataView(frame.buffer, frame.byteOffset, frame.byteLength);
  if (frame.length < HEADER_BYTES || view.getUint16(12) !== ETHERTYPE_LLDP) return null;
  const parts = partsOf(frame, view);
  const [chassisPart, portPart, ttlPart] = parts;
  if (chassisPart?.type !== CHASSIS || portPart?.type !== PORT || ttlPart?.type !== TTL) return null;
  if (ttlPart.value.length < 2) return null;
  const chassis = identity(chassisPart.value, CHASSIS_MAC, CHASSIS_ADDRESS);
  const portId = identity(portPart.value, PORT_MAC, PORT_ADDRESS);
  if (chassis === null || portId === null) return null;
  const found: Writable = {
    source: macOf(frame.subarray(6, 12)),
    chassis,
    portId,
    ttlS: ((ttlPart.value[0] ?? 0) << 8) | (ttlPart.value[1] ?? 0),
    portDescription: null,
    systemName: null,
    systemDescription: null,
    capabilities: null,
    addresses: [],
    untaggedVlan: null,
    vlans: [],
  };
  for (const { type, value } of parts.slice(3)) takeOptional(found, type, value);
  return found;
}

interface Part {
  readonly type: number;
  readonly value: Uint8Array;
}

/** TLVs up to the end mark: 7 bits of type, 9 of length (IEEE 802.1AB, 8.4). */
function partsOf(frame: Uint8Array, view: DataView): Part[] {
  const parts: Part[] = [];
  for (let at = HEADER_BYTES; at + 2 <= frame.length; ) {
    const head = view.getUint16(at);
    const [type, lengthBytes] = [head >> 9, head & 0x1ff];
    at += 2;
    if (type === END || at + lengthBytes > frame.length) break;
    parts.push({ type, value: frame.subarray(at, at + lengthBytes) });
    at += lengthBytes;
  }
  return parts;
}

function takeOptional(found: Writable, type: number, value: Uint8Array): void {
  switch (type) {
    case PORT_DESCRIPTION:
      found.portDescription ??= text(value);
      return;
    case SYSTEM_NAME:
      found.systemName ??= text(value);
      return;
    case SYSTEM_DESCRIPTION:
      found.systemDescription ??= text(value);
      return;
    case CAPABILITY:
      if (value.length >= 4) found.capabilities ??= capabilities(((value[2] ?? 0) << 8) | (value[3] ?? 0));
      return;
    case MANAGEMENT: {
      const length = value[0] ?? 0; // of the family and the address
      const address = length < 2 || length + 1 > value.length ? null : networkAddress(value.subarray(1, 1 + length));
      if (address !== null && found.addresses.length < MOST_ANNOUNCED_ADDRESSES && !found.addresses.includes(address))
        found.addresses = [...found.addresses, address];
      return;
    }
    case ORGANISATION:
      takeVlan(found, value);
  }
}

/** Port VLAN ID (subtype 1) and VLAN name (subtype 3): IEEE 802.1Q, D.2.1 and D.2.3. */
function takeVlan(found: Writable, value: Uint8Array): void {
  if (value.length < 6) return;
  const oui = ((value[0] ?? 0) << 16) | ((value[1] ?? 0) << 8) | (value[2] ?? 0);
  const vlan = ((value[4] ?? 0) << 8) | (value[5] ?? 0);
  if (oui !== OUI_802_1 || vlan < 1 || vlan > 4094) return; // 0: none
  if (value[3] === 1) found.untaggedVlan ??= vlan;
  if (value[3] !== 3 || value.length < 7 || found.vlans.length >= MOST_ANNOUNCED_VLANS) return;
  if (found.vlans.some((one) => one.vlan === vlan)) return;
  found.vlans = [...found.vlans, { vlan, name: text(value.subarray(7, 7 + (value[6] ?? 0))) ?? "" }];
}

/** Subtypes of a chassis (table 8-2) and of a port (table 8-3) that are no text. */
const [CHASSIS_MAC, CHASSIS_ADDRESS] = [4, 5];
const [PORT_MAC, PORT_ADDRESS] = [3, 4];

function identity(value: Uint8Array, macSubtype: number, addressSubtype: number): string | null {
  const rest = value.subarray(1);
  if (value.length < 2) return null;
  if (value[0] === macSubtype) return rest.length === 6 ? macOf(rest) : null;
  if (value[0] === addressSubtype) return networkAddress(rest);
  return text(rest);
}

/** A family of IANA's address family numbers (1 is IPv4, 2 IPv6), then the address. */
function networkAddress(value: Uint8Array): string | null {
  const bytes = value.subarray(1);
  const isWhole = (value[0] === 1 && bytes.length === 4) || (value[0] === 2 && bytes.length === 16);
  return isWhole ? formatIpAddress(bytes) : null;
}

const capabilities = (bits: number): Announcement["capabilities"] =>
  CAPABILITIES.filter((_, bit) => (bits & (1 << bit)) !== 0);

const macOf = (bytes: Uint8Array): string => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join(":");

/** UTF-8 (IEEE 802.1AB, 8.5.5 to 8.5.7). @returns null where there is none */
function text(bytes: Uint8Array): string | null {
  const read = withoutControls(utf8(bytes)).replace(/\s+/g, " ").trim().slice(0, LONGEST_TEXT);
  return read === "" ? null : read;
}

/** What is no UTF-8 is read as Latin-1. Written out: this package has no run-time library beyond the language's own. */
function utf8(bytes: Uint8Array): string {
  const raw = String.fromCharCode(...bytes);
  try {
    return decodeURIComponent(escapeAll(bytes));
  } catch {
    return raw;
  }
}

const escapeAll = (bytes: Uint8Array): string =>
  Array.from(bytes, (byte) => `%${byte.toString(16).padStart(2, "0")}`).join("");
