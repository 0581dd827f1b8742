import { emptyRtpHeader, readRtpHeader } from "./rtp-header.ts";
import { TS_PACKET_BYTES, TS_SYNC_BYTE } from "./ts-follower.ts";

export type PayloadKind = "test" | "rtp" | "rtp-with-ts" | "ts" | "other";

const TEST_MAGIC = [0x64, 0x79, 0x65, 0x74]; // "dyet", as the test packet's layout in packages/wire has it

/**
 * What a UDP payload looks like. Two bits make a payload look like RTP, so for "rtp" one packet is a hint only: the
 * follower's probation decides.
 */
export function classifyPayload(bytes: Uint8Array): PayloadKind {
  if (TEST_MAGIC.every((byte, i) => bytes[i] === byte)) return "test";
  if (isTransportStream(bytes)) return "ts";
  const header = emptyRtpHeader();
  if (!readRtpHeader(bytes, 0, bytes.length, header)) return "other";
  const payload = bytes.subarray(header.payloadAt, header.payloadAt + header.payloadBytes);
  return isTransportStream(payload) ? "rtp-with-ts" : "rtp";
}

/** Whole packets, each with its sync byte (RFC 2250, section 2). */
function isTransportStream(bytes: Uint8Array): boolean {
  if (bytes.length === 0 || bytes.length % TS_PACKET_BYTES !== 0) return false;
  for (let at = 0; at < bytes.length; at += TS_PACKET_BYTES) if (bytes[at] !== TS_SYNC_BYTE) return false;
  return true;
}
