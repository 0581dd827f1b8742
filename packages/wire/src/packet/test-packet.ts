import { crc32 } from "./crc32.ts";

/**
 * The test packet: the UDP payload that a source sends. On purpose it is not media, because some loudspeakers play
 * whatever media arrives on their group: the first octet is 0x64, so its top bits are 01 (RTP version 2 has binary 10,
 * RFC 3550 5.1) and it is not 0x47 (the sync byte of ISO/IEC 13818-1).
 *
 * All fields big-endian. Everything that is measured lies in bytes 0 to 47 and is covered by the CRC.
 *
 * | offset | bytes | field |
 * |---|---|---|
 * | 0 | 4 | magic `dyet` |
 * | 4 | 1 | layout version, 1 |
 * | 5 | 1 | flags: bit 0 set on the unicast companion |
 * | 6 | 2 | size of this UDP payload in bytes, so that a shortened packet is known as such |
 * | 8 | 8 | run id |
 * | 16 | 4 | stream id, unique within the run |
 * | 20 | 4 | sender id, drawn anew at each start of a sender: tells a restart and a second sender apart from loss |
 * | 24 | 8 | sequence number, from 0, below 2^53 |
 * | 32 | 8 | transmit time, ns since 1970 UTC on the source's clock |
 * | 40 | 4 | nominal packet interval, ns |
 * | 44 | 1 | TTL or hop limit as sent |
 * | 45 | 1 | DSCP as sent |
 * | 46 | 2 | reserved, 0 |
 * | 48 | 4 | CRC-32 (IEEE 802.3) of bytes 0 to 47 |
 * | 52 | 44 or more | notice in ASCII for whoever finds the packet, then zeros |
 */
export const TEST_PACKET_HEADER_BYTES = 52;
/** Smallest UDP payload of a test packet: the header and the short notice. */
export const TEST_PACKET_MIN_BYTES = 96;
/** Largest UDP payload over IPv4 without jumbograms: 65535 - 20 - 8. */
export const TEST_PACKET_MAX_BYTES = 65_507;
/** No media device is known to listen here; common practice, no source. */
export const DEFAULT_UDP_PORT = 48_620;
/** A companion shows whether unicast gets through; more than this it never needs, and never gets. */
export const COMPANION_PACKETS_PER_SECOND = 10;
export const COMPANION_PAYLOAD_BYTES = 128;

const MAGIC = 0x64796574; // "dyet"
const VERSION = 1;
const COVERED_BYTES = 48;
const NOTICE_AT = 52;
const NOTICE_MAX_BYTES = 160;
const TWO_32 = 2 ** 32;

/** What stays the same for all packets of one stream of one sender. */
export interface TestStreamIdentity {
  /** 16 hexadecimal digits. */
  readonly runId: string;
  /** 0 to 2^32 - 1. */
  readonly streamId: number;
  /** 0 to 2^32 - 1. */
  readonly senderId: number;
  readonly intervalNs: number;
  readonly ttl: number;
  readonly dscp: number;
  readonly isCompanion: boolean;
  /** Whom to ask about this traffic; ASCII. */
  readonly contact: string;
}

/**
 * Lays out everything but sequence and time. Call once for each slot of a send buffer.
 * @throws {RangeError} if `sizeBytes` is below `TEST_PACKET_MIN_BYTES` or above `TEST_PACKET_MAX_BYTES`
 */
export function layTestPacket(frame: DataView, at: number, sizeBytes: number, identity: TestStreamIdentity): void {
  if (sizeBytes < TEST_PACKET_MIN_BYTES || sizeBytes > TEST_PACKET_MAX_BYTES) {
    throw new RangeError(`A test packet has ${TEST_PACKET_MIN_BYTES} to ${TEST_PACKET_MAX_BYTES} B, not ${sizeBytes}`);
  }
  const bytes = new Uint8Array(frame.buffer, frame.byteOffset + at, sizeBytes);
  bytes.fill(0);
  frame.setUint32(at, MAGIC);
  frame.setUint8(at + 4, VERSION);
  frame.setUint8(at + 5, identity.isCompanion ? 1 : 0);
  frame.setUint16(at + 6, sizeBytes);
  frame.setUint32(at + 8, Number.parseInt(identity.runId.slice(0, 8), 16));
  frame.setUint32(at + 12, Number.parseInt(identity.runId.slice(8, 16), 16));
  frame.setUint32(at + 16, identity.streamId);
  frame.setUint32(at + 20, identity.senderId);
  frame.setUint32(at + 40, Math.min(Math.round(identity.intervalNs), 0xffffffff));
  frame.setUint8(at + 44, identity.ttl);
  frame.setUint8(at + 45, identity.dscp);
  const notice = `dyetrace network test, not media. ${identity.contact}`;
  const noticeBytes = Math.min(notice.length, NOTICE_MAX_BYTES, sizeBytes - NOTICE_AT);
  for (let i = 0; i < noticeBytes; i++) bytes[NOTICE_AT + i] = notice.charCodeAt(i) & 0x7f;
}

/**
 * Hot path: stamps a laid packet with its number and time.
 * @param seq sequence number, 0 to 2^53 - 1
 * @param sentHi upper 32 bits of the transmit time (ns since 1970), @param sentLo lower 32 bits
 */
export function stampTestPacket(
  frame: DataView,
  bytes: Uint8Array,
  at: number,
  seq: number,
  sentHi: number,
  sentLo: number,
): void {
  frame.setUint32(at + 24, Math.floor(seq / TWO_32));
  frame.setUint32(at + 28, seq >>> 0);
  frame.setUint32(at + 32, sentHi);
  frame.setUint32(at + 36, sentLo);
  frame.setUint32(at + 48, crc32(bytes, at, COVERED_BYTES));
}

/** `test`: one of ours, whole. `foreign`: somebody else's. `malformed`: claims to be ours but is cut or damaged. */
export type PacketVerdict = "test" | "foreign" | "malformed";

/** One of these is made at start and refilled for every packet. */
export interface DecodedTestPacket {
  runIdHi: number;
  runIdLo: number;
  streamId: number;
  senderId: number;
  seq: number;
  /** Transmit time in ns since `epochNs` of the decoder's caller: exact below 2^53 (104 days). */
  sentNs: number;
  intervalNs: number;
  ttl: number;
  dscp: number;
  sizeBytes: number;
  isCompanion: boolean;
}

export const emptyTestPacket = (): DecodedTestPacket => ({
  runIdHi: 0,
  runIdLo: 0,
  streamId: 0,
  senderId: 0,
  seq: 0,
  sentNs: 0,
  intervalNs: 0,
  ttl: 0,
  dscp: 0,
  sizeBytes: 0,
  isCompanion: false,
});

/**
 * Hot path: reads a UDP payload. Never throws, whatever the bytes.
 * @param length bytes received; @param epochHi, epochLo the two halves of the instant (ns since 1970) that `sentNs`
 * counts from, so that no bigint is needed
 * @returns the verdict; `into` is filled only for "test"
 */
export function readTestPacket(
  frame: DataView,
  bytes: Uint8Array,
  at: number,
  length: number,
  epochHi: number,
  epochLo: number,
  into: DecodedTestPacket,
): PacketVerdict {
  return readTestPacketHead(frame, bytes, at, length, length, epochHi, epochLo, into);
}

/**
 * Hot path: reads a UDP payload of which a capture kept only the beginning. The header's CRC is checked; that the rest
 * of the packet arrived is not, only that the UDP header announces its whole size.
 * @param captured bytes of the payload that are there
 * @param length bytes of the payload by the UDP header
 * @returns as `readTestPacket`; a payload captured shorter than `TEST_PACKET_HEADER_BYTES` is "malformed"
 */
export function readTestPacketHead(
  frame: DataView,
  bytes: Uint8Array,
  at: number,
  captured: number,
  length: number,
  epochHi: number,
  epochLo: number,
  into: DecodedTestPacket,
): PacketVerdict {
  if (captured < 5 || frame.getUint32(at) !== MAGIC) return "foreign";
  if (
    captured < TEST_PACKET_HEADER_BYTES ||
    length < TEST_PACKET_MIN_BYTES ||
    frame.getUint8(at + 4) !== VERSION ||
    frame.getUint16(at + 6) !== length
  ) {
    return "malformed";
  }
  if (frame.getUint32(at + 48) !== crc32(bytes, at, COVERED_BYTES)) return "malformed";
  const seqHi = frame.getUint32(at + 24);
  if (seqHi >= 2 ** 21) return "malformed"; // past 2^53: no sender of ours counts that far
  into.isCompanion = (frame.getUint8(at + 5) & 1) === 1;
  into.sizeBytes = length;
  into.runIdHi = frame.getUint32(at + 8);
  into.runIdLo = frame.getUint32(at + 12);
  into.streamId = frame.getUint32(at + 16);
  into.senderId = frame.getUint32(at + 20);
  into.seq = seqHi * TWO_32 + frame.getUint32(at + 28);
  into.sentNs = (frame.getUint32(at + 32) - epochHi) * TWO_32 + (frame.getUint32(at + 36) - epochLo);
  into.intervalNs = frame.getUint32(at + 40);
  into.ttl = frame.getUint8(at + 44);
  into.dscp = frame.getUint8(at + 45);
  return "test";
}
