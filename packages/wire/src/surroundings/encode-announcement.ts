import { parseIpAddress } from "../ip-address.ts";

/** The nearest bridge: no bridge forwards what is sent there (IEEE 802.1AB, table 7-1; IEEE 802.1Q, table 8-1). */
const NEAREST_BRIDGE = "01:80:c2:00:00:0e";
const ETHERTYPE_LLDP = 0x88cc;
/** The shortest Ethernet frame, without its check sequence (IEEE 802.3). */
const SHORTEST_BYTES = 60;

/** Types of TLVs (IEEE 802.1AB, table 8-1), subtypes of chassis, port (8-2, 8-3) and interface numbers (8.5.9.5). */
const [END, CHASSIS, PORT, TTL, SYSTEM_NAME, SYSTEM_DESCRIPTION, CAPABILITY, MANAGEMENT] = [0, 1, 2, 3, 5, 6, 7, 8];
const CHASSIS_MAC = 4;
const PORT_INTERFACE_NAME = 5;
const IF_INDEX = 2;
/** Station only (table 8-4, bit 8). */
const STATION = 0x80;

/** What a host says of itself. */
export interface OwnAnnouncement {
  readonly mac: string;
  readonly interfaceName: string;
  readonly interfaceIndex: number;
  readonly systemName: string;
  readonly systemDescription: string;
  /** IP addresses, without a prefix length. */
  readonly addresses: readonly string[];
}

/**
 * One Ethernet frame by which a host announces itself to the device that it hangs on. With a time to live of 0 it takes its announcement
 * back, and then has nothing but what tells which (IEEE 802.1AB, 9.1.2.1).
 * @param ttlS for how long neighbours keep it, s, 0 to 65535
 */
export function encodeAnnouncement(own: OwnAnnouncement, ttlS: number): Uint8Array {
  const parts = [
    part(CHASSIS, [CHASSIS_MAC, ...macBytes(own.mac)]),
    part(PORT, [PORT_INTERFACE_NAME, ...textBytes(own.interfaceName, 254)]),
    part(TTL, [ttlS >> 8, ttlS & 0xff]),
    ...(ttlS === 0
      ? []
      : [
          part(SYSTEM_NAME, textBytes(own.systemName, 255)),
          part(SYSTEM_DESCRIPTION, textBytes(own.systemDescription, 255)),
          part(CAPABILITY, [0, STATION, 0, STATION]),
          ...own.addresses.flatMap((address) => management(address, own.interfaceIndex)),
        ]),
    part(END, []),
  ];
  const frame = [
    ...macBytes(NEAREST_BRIDGE),
    ...macBytes(own.mac),
    ETHERTYPE_LLDP >> 8,
    ETHERTYPE_LLDP & 0xff,
    ...parts.flat(),
  ];
  return Uint8Array.from([...frame, ...new Array<number>(Math.max(0, SHORTEST_BYTES - frame.length)).fill(0)]);
}

/** 7 bits of type, 9 of length (IEEE 802.1AB, 8.4). */
function part(type: number, value: readonly number[]): number[] {
  const head = (type << 9) | value.length;
  return [head >> 8, head & 0xff, ...value];
}

/** A family of IANA's address family numbers (1 is IPv4, 2 IPv6), the address, the interface's number, no object identifier. */
function management(text: string, interfaceIndex: number): number[][] {
  const address = parseIpAddress(text);
  if (address === null) return [];
  const family = address.family === 4 ? 1 : 2;
  const number = [24, 16, 8, 0].map((shift) => (interfaceIndex >>> shift) & 0xff);
  return [part(MANAGEMENT, [address.bytes.length + 1, family, ...address.bytes, IF_INDEX, ...number, 0])];
}

const macBytes = (mac: string): number[] => mac.split(":").map((octet) => Number.parseInt(octet, 16));

/** Printable ASCII, which is UTF-8 as well and cannot be cut within a character. */
const textBytes = (text: string, mostBytes: number): number[] =>
  [...text.replace(/[^\x20-\x7e]/g, "?").slice(0, mostBytes)].map((one) => one.charCodeAt(0));
