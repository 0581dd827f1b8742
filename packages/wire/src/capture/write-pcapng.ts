/** An interface of a capture: a place where frames were seen. */
export interface PcapngInterface {
  readonly name: string;
  readonly description: string;
  /** Longest part of a frame that is kept; 0: no bound. */
  readonly snapBytes: number;
  readonly comment: string;
}

export interface PcapngPacket {
  /** Place in the list of interfaces. */
  readonly interfaceIndex: number;
  /** Nanoseconds since 1970 UTC. */
  readonly timeNs: bigint;
  /** What was kept of the frame, and how long it was. */
  readonly bytes: Uint8Array;
  readonly originalBytes: number;
  readonly isOutbound: boolean;
}

export interface PcapngFile {
  readonly comment: string;
  readonly application: string;
  readonly interfaces: readonly PcapngInterface[];
  /** In the order in which they shall stand in the file. */
  readonly packets: readonly PcapngPacket[];
}

/** Block types and option codes of draft-ietf-opsawg-pcapng, sections 4 and 3.5. */
const SECTION = 0x0a0d0d0a;
const INTERFACE = 1;
const ENHANCED_PACKET = 6;
const ORDER_MAGIC = 0x1a2b3c4d;
const [END, COMMENT] = [0, 1];
const [NAME, DESCRIPTION, RESOLUTION] = [2, 3, 9]; // if_name, if_description, if_tsresol
const APPLICATION = 4; // shb_userappl
const FLAGS = 2; // epb_flags: bits 0 and 1 are 1 for inbound, 2 for outbound
const ETHERNET = 1; // LINKTYPE_ETHERNET
const NANOSECONDS = 9; // 10^-9 s
const LONGEST_TEXT_BYTES = 65_535;

/** An option of a block: its value is padded to 4 bytes, its length is told without padding. */
interface Option {
  readonly code: number;
  readonly value: Uint8Array;
}

/**
 * Writes one section in little-endian order, with times in nanoseconds. @throws {RangeError} where a packet names an interface
 * that is not in the list
 */
export function writePcapng({ comment, application, interfaces, packets }: PcapngFile): Uint8Array {
  const blocks = [
    block(SECTION, sectionBody(), [text(COMMENT, comment), text(APPLICATION, application)]),
    ...interfaces.map((one) =>
      block(INTERFACE, interfaceBody(one.snapBytes), [
        { code: RESOLUTION, value: Uint8Array.of(NANOSECONDS) }, // first: some readers stop at a comment
        text(NAME, one.name),
        text(DESCRIPTION, one.description),
        text(COMMENT, one.comment),
      ]),
    ),
    ...packets.map((packet) => {
      if (interfaces[packet.interfaceIndex] === undefined) {
        throw new RangeError(
          `Cannot write a packet of interface ${packet.interfaceIndex}: there are ${interfaces.length}`,
        );
      }
      const flags = Uint8Array.of(packet.isOutbound ? 2 : 1, 0, 0, 0);
      return block(ENHANCED_PACKET, packetBody(packet), [{ code: FLAGS, value: flags }]);
    }),
  ];
  const whole = new Uint8Array(blocks.reduce((sum, one) => sum + one.length, 0));
  let at = 0;
  for (const one of blocks) {
    whole.set(one, at);
    at += one.length;
  }
  return whole;
}

/** Section 4.1: byte order, version 1.0, a length that is not told. */
function sectionBody(): Uint8Array {
  const body = new Uint8Array(16);
  const view = new DataView(body.buffer);
  view.setUint32(0, ORDER_MAGIC, true);
  view.setUint16(4, 1, true);
  view.setBigInt64(8, -1n, true);
  return body;
}

/** Section 4.2. */
function interfaceBody(snapBytes: number): Uint8Array {
  const body = new Uint8Array(8);
  const view = new DataView(body.buffer);
  view.setUint16(0, ETHERNET, true);
  view.setUint32(4, snapBytes, true);
  return body;
}

/** Section 4.3. */
function packetBody({ interfaceIndex, timeNs, bytes, originalBytes }: PcapngPacket): Uint8Array {
  const body = new Uint8Array(20 + padded(bytes.length));
  const view = new DataView(body.buffer);
  view.setUint32(0, interfaceIndex, true);
  view.setUint32(4, Number(BigInt.asUintN(32, timeNs >> 32n)), true);
  view.setUint32(8, Number(BigInt.asUintN(32, timeNs)), true);
  view.setUint32(12, bytes.length, true);
  view.setUint32(16, Math.max(originalBytes, bytes.length), true);
  body.set(bytes, 20);
  return body;
}

const padded = (sizeBytes: number): number => Math.ceil(sizeBytes / 4) * 4;

/** Section 3.1: type, length, body, options and the length again. */
function block(type: number, body: Uint8Array, options: readonly Option[]): Uint8Array {
  const told = options.filter(({ value }) => value.length > 0);
  const optionBytes = told.reduce((sum, { value }) => sum + 4 + padded(value.length), 4);
  const sizeBytes = 12 + body.length + optionBytes;
  const whole = new Uint8Array(sizeBytes);
  const view = new DataView(whole.buffer);
  view.setUint32(0, type, true);
  view.setUint32(4, sizeBytes, true);
  whole.set(body, 8);
  let at = 8 + body.length;
  for (const { code, value } of told) {
    view.setUint16(at, code, true);
    view.setUint16(at + 2, value.length, true);
    whole.set(value, at + 4);
    at += 4 + padded(value.length);
  }
  view.setUint16(at, END, true);
  view.setUint32(sizeBytes - 4, sizeBytes, true);
  return whole;
}

/** UTF-8, cut where an option can't hold more. */
const text = (code: number, words: string): Option => ({ code, value: utf8(words).subarray(0, LONGEST_TEXT_BYTES) });

/** Pure packages have no encoder of the platform's. */
function utf8(words: string): Uint8Array {
  const bytes: number[] = [];
  for (const letter of words) {
    const point = letter.codePointAt(0) ?? 0;
    if (point < 0x80) bytes.push(point);
    else if (point < 0x800) bytes.push(0xc0 | (point >> 6), 0x80 | (point & 0x3f));
    else if (point < 0x10000) bytes.push(0xe0 | (point >> 12), 0x80 | ((point >> 6) & 0x3f), 0x80 | (point & 0x3f));
    else
      bytes.push(
        0xf0 | (point >> 18),
        0x80 | ((point >> 12) & 0x3f),
        0x80 | ((point >> 6) & 0x3f),
        0x80 | (point & 0x3f),
      );
  }
  return Uint8Array.from(bytes);
}
