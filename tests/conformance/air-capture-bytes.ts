/**
 * Captures of the air, byte by byte: file formats by draft-ietf-opsawg-pcap and -pcapng, headers by www.radiotap.org, frames
 * by IEEE 802.11-2020 clause 9. Written apart from what reads them.
 */
export const bytesOf = (...parts: readonly (number | readonly number[] | Uint8Array)[]): Uint8Array =>
  Uint8Array.from(parts.flatMap((part) => (typeof part === "number" ? [part] : [...part])));

const le = (value: number, bytes: number): number[] =>
  Array.from({ length: bytes }, (_, at) => Math.floor(value / 256 ** at) % 256);
const be = (value: number, bytes: number): number[] => le(value, bytes).reverse();
export const macBytes = (address: string): number[] => address.split(":").map((part) => Number.parseInt(part, 16));

export interface RadiotapFields {
  readonly timerUs?: number;
  readonly flags?: number;
  /** In 500 kbit/s. */
  readonly rate?: number;
  readonly mhz?: number;
  /** Known, flags, index. */
  readonly mcs?: readonly [number, number, number];
  readonly aggregate?: number;
  /** Known, flags, bandwidth, first user's MCS and streams. */
  readonly vht?: readonly [number, number, number, number];
  /** Six words. */
  readonly he?: readonly number[];
}

/** Fields in the order of their bits, each at a multiple of its alignment from the header's beginning. */
export function radiotap(of: RadiotapFields): Uint8Array {
  let present = 0;
  const body: number[] = [];
  const put = (bit: number, alignment: number, bytes: readonly number[]): void => {
    present += 2 ** bit;
    while ((8 + body.length) % alignment !== 0) body.push(0);
    body.push(...bytes);
  };
  if (of.timerUs !== undefined) put(0, 8, le(of.timerUs, 8));
  put(1, 1, [of.flags ?? 0]);
  if (of.rate !== undefined) put(2, 1, [of.rate]);
  if (of.mhz !== undefined) put(3, 2, [...le(of.mhz, 2), ...le(of.mhz < 3000 ? 0x00c0 : 0x0140, 2)]);
  put(5, 1, [256 - 52]); // signal, dBm
  if (of.mcs !== undefined) {
    if ((8 + body.length) % 2 !== 0) put(11, 1, [0]); // an antenna: other readers want the MCS on an even byte
    put(19, 1, of.mcs);
  }
  if (of.aggregate !== undefined) put(20, 4, [...le(of.aggregate, 4), 0, 0, 0, 0]);
  if (of.vht !== undefined) {
    const [known, flags, bandwidth, user] = of.vht;
    put(21, 2, [...le(known, 2), flags, bandwidth, user, 0, 0, 0, 0, 0, 0, 0]);
  }
  if (of.he !== undefined)
    put(
      23,
      2,
      of.he.flatMap((word) => le(word, 2)),
    );
  return bytesOf(0, 0, le(8 + body.length, 2), le(present, 4), body);
}

export interface DataFields {
  readonly receiver: string;
  readonly transmitter: string;
  /** The third address: whom it is from, or for. */
  readonly third: string;
  readonly way: "from" | "to";
  readonly sequence: number;
  readonly isRetry?: boolean;
  readonly isEncrypted?: boolean;
  /** Makes it a QoS frame. */
  readonly tid?: number;
  readonly isAmsdu?: boolean;
  readonly payload: Uint8Array;
}

export function dataFrame(of: DataFields): Uint8Array {
  const flags = (of.way === "from" ? 2 : 1) + (of.isRetry === true ? 0x08 : 0) + (of.isEncrypted === true ? 0x40 : 0);
  const qos = of.tid === undefined ? [] : le(of.tid + (of.isAmsdu === true ? 0x80 : 0), 2);
  const addresses = [of.receiver, of.transmitter, of.third].flatMap(macBytes);
  return bytesOf(of.tid === undefined ? 0x08 : 0x88, flags, 0, 0, addresses, le(of.sequence << 4, 2), qos, of.payload);
}

export const ackFrame = (receiver: string): Uint8Array => bytesOf(0xd4, 0, 0, 0, macBytes(receiver));

/** Compressed, 64 frames; `bits` from the first sequence number on. */
export const blockAckFrame = (
  receiver: string,
  transmitter: string,
  tid: number,
  first: number,
  bits: readonly number[],
): Uint8Array =>
  bytesOf(
    0x94,
    0,
    0,
    0,
    macBytes(receiver),
    macBytes(transmitter),
    le((tid << 12) + 0x0004, 2),
    le(first << 4, 2),
    bits,
  );

/** LLC and SNAP, IPv4 and UDP with that much payload. Checksums are left out. */
export function ipv4Packet(from: string, group: string, payloadBytes: number): Uint8Array {
  const address = (text: string): number[] => text.split(".").map(Number);
  return bytesOf(
    [0xaa, 0xaa, 0x03, 0, 0, 0, 0x08, 0x00],
    [0x45, 0, ...be(28 + payloadBytes, 2), 0, 0, 0, 0, 1, 17, 0, 0],
    address(from),
    address(group),
    [...be(5004, 2), ...be(5004, 2), ...be(8 + payloadBytes, 2), 0, 0],
    new Uint8Array(payloadBytes),
  );
}

/** A part of an A-MSDU, padded to 4 bytes. */
export function amsduPart(destination: string, source: string, packet: Uint8Array): Uint8Array {
  const part = bytesOf(macBytes(destination), macBytes(source), be(packet.byteLength, 2), packet);
  return bytesOf(part, new Uint8Array((4 - (part.byteLength % 4)) % 4));
}

export interface Record {
  readonly timeUs: number;
  readonly bytes: Uint8Array;
  /** How long it was, if not all was kept. */
  readonly originalBytes?: number;
}

export interface FileForm {
  readonly isLittle: boolean;
  readonly isNano: boolean;
  readonly linkType: number;
}

export function pcapFile({ isLittle, isNano, linkType }: FileForm, records: readonly Record[]): Uint8Array {
  const put = isLittle ? le : be;
  const perSecond = isNano ? 1e9 : 1e6;
  return bytesOf(
    put(isNano ? 0xa1b23c4d : 0xa1b2c3d4, 4),
    put(2, 2),
    put(4, 2),
    put(0, 4),
    put(0, 4),
    put(65_535, 4),
    put(linkType, 4),
    ...records.map(({ timeUs, bytes, originalBytes }) => {
      const seconds = Math.floor(timeUs / 1e6);
      const fraction = Math.round(((timeUs - seconds * 1e6) / 1e6) * perSecond);
      const lengths = [put(bytes.byteLength, 4), put(originalBytes ?? bytes.byteLength, 4)];
      return bytesOf(put(seconds, 4), put(fraction, 4), ...lengths, bytes);
    }),
  );
}

/** One section; a block that nobody has to know stands before the packets. */
export function pcapngFile({ isLittle, isNano, linkType }: FileForm, records: readonly Record[]): Uint8Array {
  const put = isLittle ? le : be;
  const block = (type: number, ...body: readonly (readonly number[] | Uint8Array)[]): Uint8Array => {
    const inside = bytesOf(...body);
    const padded = bytesOf(inside, new Uint8Array((4 - (inside.byteLength % 4)) % 4));
    const length = put(12 + padded.byteLength, 4);
    return bytesOf(put(type, 4), length, padded, length);
  };
  const resolution = isNano ? [...put(9, 2), ...put(1, 2), 9, 0, 0, 0, ...put(0, 4)] : [];
  return bytesOf(
    block(0x0a0d0d0a, put(0x1a2b3c4d, 4), put(1, 2), put(0, 2), new Uint8Array(8).fill(0xff)),
    block(1, put(linkType, 2), put(0, 2), put(0, 4), resolution),
    block(4, new Uint8Array(12)),
    ...records.map(({ timeUs, bytes, originalBytes }) => {
      const time = BigInt(Math.round(timeUs)) * (isNano ? 1000n : 1n);
      const [high, low] = [Number(time >> 32n), Number(time & 0xffff_ffffn)];
      const lengths = [put(bytes.byteLength, 4), put(originalBytes ?? bytes.byteLength, 4)];
      return block(6, put(0, 4), put(high, 4), put(low, 4), ...lengths, bytes);
    }),
  );
}
