/** What is needed of an RTP packet. One of these is made at start and refilled for every packet. */
export interface RtpHeader {
  payloadType: number;
  isMarker: boolean;
  seq: number;
  timestamp: number;
  ssrc: number;
  /** Offset of the payload from the start of the packet, and its size without padding. */
  payloadAt: number;
  payloadBytes: number;
}

export const emptyRtpHeader = (): RtpHeader => ({
  payloadType: 0,
  isMarker: false,
  seq: 0,
  timestamp: 0,
  ssrc: 0,
  payloadAt: 0,
  payloadBytes: 0,
});

/**
 * Hot path: reads `length` bytes from offset `at`. Never throws, whatever the bytes.
 * @returns false if they cannot be an RTP packet; `into` is filled only if they can
 * @see RFC 3550, section 5.1 and 5.3.1
 */
export function readRtpHeader(bytes: Uint8Array, at: number, length: number, into: RtpHeader): boolean {
  if (length < 12 || at + length > bytes.length) return false;
  const first = byteAt(bytes, at);
  const second = byteAt(bytes, at + 1);
  if (first >> 6 !== 2) return false;
  if (second >= 200 && second <= 204) return false; // an RTCP packet type (RFC 3551, section 6: 72 to 76 are reserved)
  let payloadAt = 12 + 4 * (first & 0x0f);
  if ((first & 0x10) !== 0) {
    if (payloadAt + 4 > length) return false;
    payloadAt += 4 + 4 * uint16At(bytes, at + payloadAt + 2);
  }
  const paddingBytes = (first & 0x20) === 0 ? 0 : byteAt(bytes, at + length - 1);
  if ((first & 0x20) !== 0 && paddingBytes === 0) return false; // the count includes itself
  if (payloadAt + paddingBytes > length) return false;
  into.payloadType = second & 0x7f;
  into.isMarker = second >= 0x80;
  into.seq = uint16At(bytes, at + 2);
  into.timestamp = uint32At(bytes, at + 4);
  into.ssrc = uint32At(bytes, at + 8);
  into.payloadAt = payloadAt;
  into.payloadBytes = length - payloadAt - paddingBytes;
  return true;
}

const byteAt = (bytes: Uint8Array, at: number): number => bytes[at] as number;
const uint16At = (bytes: Uint8Array, at: number): number => byteAt(bytes, at) * 256 + byteAt(bytes, at + 1);
const uint32At = (bytes: Uint8Array, at: number): number => uint16At(bytes, at) * 65_536 + uint16At(bytes, at + 2);
