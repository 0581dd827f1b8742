import { decodeMembershipFrame, type MembershipMessage } from "@dyetrace/wire";

/**
 * Ethernet frames around IGMP, MLD and PIM messages, laid out here by hand from the RFCs' diagrams, so that the decoder
 * is not held against an encoder of its own kind.
 */
export const hex = (text: string): number[] =>
  text
    .replaceAll(/\s/g, "")
    .match(/../g)
    ?.map((byte) => Number.parseInt(byte, 16)) ?? [];

export function decode(frame: readonly number[], length: number = frame.length): MembershipMessage | null {
  const bytes = Uint8Array.from(frame);
  return decodeMembershipFrame(bytes, new DataView(bytes.buffer), length);
}

/** Decoded, without what stands around the message. */
export function contentOf(frame: readonly number[]): Record<string, unknown> {
  const message = decode(frame);
  if (message === null) throw new Error("This frame decodes to nothing");
  const { family, sourceMac, destinationMac, vlanId, source, destination, ttlHops, hasRouterAlert, ...content } =
    message;
  return content;
}

interface Ipv4Options {
  readonly protocol?: number;
  readonly source?: string;
  readonly destination?: string;
  readonly hasRouterAlert?: boolean;
  readonly ttl?: number;
  /** Flags and fragment offset, bytes 6 and 7. */
  readonly fragment?: number;
  /** VLAN tag control information. */
  readonly tag?: number;
  /** Pads the frame to 60 bytes, the least that Ethernet carries without its checksum. */
  readonly isPadded?: boolean;
}

/** RFC 791 3.1; Router Alert is RFC 2113 2.1. */
export function ipv4Frame(payload: readonly number[], options: Ipv4Options = {}): number[] {
  const { protocol = 2, source = "192.0.2.1", destination = "224.0.0.1", ttl = 1, fragment = 0x4000 } = options;
  const alert = options.hasRouterAlert === false ? [] : [0x94, 0x04, 0x00, 0x00];
  const headerBytes = 20 + alert.length;
  const header = [
    ...[0x40 | (headerBytes / 4), 0xc0, ...word(headerBytes + payload.length)],
    ...[0, 0, ...word(fragment)],
    ...[ttl, protocol, 0, 0],
    ...source.split(".").map(Number),
    ...destination.split(".").map(Number),
    ...alert,
  ];
  const checksum = internetChecksum(header);
  header.splice(10, 2, ...word(checksum));
  const frame = [...ethernet("01:00:5e:00:00:01", 0x0800, options.tag), ...header, ...payload];
  while (options.isPadded && frame.length < 60) frame.push(0);
  return frame;
}

interface Ipv6Options {
  readonly source?: string;
  readonly destination?: string;
  readonly nextHeader?: number;
  readonly hasRouterAlert?: boolean;
  readonly hopLimit?: number;
}

/** RFC 8200 3 and 4.3; Router Alert is RFC 2711 2.1. Addresses are written in full, as 32 hexadecimal digits. */
export function ipv6Frame(payload: readonly number[], options: Ipv6Options = {}): number[] {
  const { source = FE80_1, destination = FF02_1, nextHeader = 58, hopLimit = 1 } = options;
  const isAlert = options.hasRouterAlert ?? true;
  const extension = isAlert ? [nextHeader, ...hex("00 05 02 00 00 01 00")] : [];
  return [
    ...ethernet("33:33:00:00:00:01", 0x86dd, undefined),
    ...[0x60, 0, 0, 0, ...word(extension.length + payload.length), isAlert ? 0 : nextHeader, hopLimit],
    ...hex(source),
    ...hex(destination),
    ...extension,
    ...payload,
  ];
}

export const FE80_1 = "fe80 0000 0000 0000 0000 0000 0000 0001";
export const FF02_1 = "ff02 0000 0000 0000 0000 0000 0000 0001";
export const FF02_2 = "ff02 0000 0000 0000 0000 0000 0000 0002";
export const FF02_16 = "ff02 0000 0000 0000 0000 0000 0000 0016";
export const FF15_1234 = "ff15 0000 0000 0000 0000 0000 0000 1234";

/** With the checksum put in at `at`. */
export function withChecksum(message: readonly number[], at: number, pseudoHeader: readonly number[] = []): number[] {
  const blank = message.with(at, 0).with(at + 1, 0);
  const even = pseudoHeader.length + blank.length;
  const [high, low] = word(internetChecksum([...pseudoHeader, ...blank, ...(even % 2 === 1 ? [0] : [])]));
  return blank.with(at, high ?? 0).with(at + 1, low ?? 0);
}

/** RFC 8200 8.1. */
export const pseudoHeader = (source: string, destination: string, length: number, nextHeader: number): number[] => [
  ...hex(source),
  ...hex(destination),
  ...[0, 0, ...word(length)],
  ...[0, 0, 0, nextHeader],
];

/** RFC 1071, over an even number of bytes, by the schoolbook: add with end-around carry, one word after the other. */
function internetChecksum(bytes: readonly number[]): number {
  let sum = 0;
  for (let i = 0; i < bytes.length; i += 2) {
    sum += ((bytes[i] ?? 0) << 8) + (bytes[i + 1] ?? 0);
    if (sum > 0xffff) sum -= 0xffff;
  }
  return 0xffff - sum;
}

const word = (value: number): number[] => [(value >> 8) & 0xff, value & 0xff];

const ethernet = (destination: string, ethertype: number, tag: number | undefined): number[] => [
  ...hex(destination.replaceAll(":", "")),
  ...hex("0200 5e10 0001"),
  ...(tag === undefined ? [] : [0x81, 0x00, ...word(tag)]),
  ...word(ethertype),
];
