import { TEST_PACKET_HEADER_BYTES } from "@dyetrace/wire/test-packet";

const UDP = 17;
const FRAGMENT = 44;
const TEST_MAGIC = 0x64796574; // "dyet"
const RTP_HEADER_BYTES = 12; // RFC 3550 section 5.1

/**
 * Hot path: how much of a frame to a group is headers: Ethernet, IP and UDP, then twelve octets of
 * what has the form of RTP, or the header of our own test packet. Nothing else of a payload is kept. Never throws.
 * @param captured bytes of the frame that are there
 */
export function headerBytesOf(view: DataView, at: number, captured: number): number {
  if (captured < 34) return Math.min(captured, 14);
  const isIpv4 = view.getUint16(at + 12) === 0x0800;
  if (!isIpv4 && captured < 54) return 14;
  let protocol = view.getUint8(at + (isIpv4 ? 23 : 20));
  let headers = 14 + (isIpv4 ? (view.getUint8(at + 14) & 0x0f) * 4 : 40);
  if (!isIpv4 && protocol === FRAGMENT && captured >= 62) {
    protocol = view.getUint8(at + 54);
    headers += 8; // RFC 8200 section 4.5
  }
  if (protocol !== UDP || headers + 8 > captured) return Math.min(headers, captured);
  headers += 8;
  const left = captured - headers;
  if (left >= 4 && view.getUint32(at + headers) === TEST_MAGIC)
    return headers + Math.min(left, TEST_PACKET_HEADER_BYTES);
  if (left < RTP_HEADER_BYTES || view.getUint8(at + headers) >> 6 !== 2) return headers;
  return headers + RTP_HEADER_BYTES;
}

/** Hot path: how long the frame was by its IP header, without what Ethernet pads. @param captured at least 34 of IPv4, 54 of IPv6 */
export function frameBytesOf(view: DataView, at: number, captured: number): number {
  if (captured < 34) return captured;
  const isIpv4 = view.getUint16(at + 12) === 0x0800;
  if (!isIpv4 && captured < 54) return captured;
  return isIpv4 ? 14 + view.getUint16(at + 16) : 54 + view.getUint16(at + 18);
}
