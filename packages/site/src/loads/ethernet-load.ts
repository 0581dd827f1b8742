import { ipPacketSizes } from "./ip-packet-sizes.ts";

const HEADER_AND_FCS_BYTES = 14 + 4;
const MIN_FRAME_BYTES = 64;
/** 64 bits of preamble with the start delimiter and 96 bits of gap (RFC 2544 appendix B). */
const PREAMBLE_AND_GAP_BYTES = 8 + 12;

/**
 * Bytes that one UDP datagram occupies on an untagged Ethernet, preamble and gap included, as fragments where it does
 * not fit a 1500-byte MTU.
 */
export const wireBytes = (payloadBytes: number, family: 4 | 6): number =>
  ipPacketSizes(payloadBytes, family)
    .map((ipBytes) => Math.max(MIN_FRAME_BYTES, HEADER_AND_FCS_BYTES + ipBytes) + PREAMBLE_AND_GAP_BYTES)
    .reduce((sum, bytes) => sum + bytes, 0);

/** @returns what a stream of `rateBps` (UDP payload bits per second) takes of a link, in bits per second */
export const wireRateBps = (rateBps: number, payloadBytes: number, family: 4 | 6): number =>
  (rateBps / payloadBytes) * wireBytes(payloadBytes, family);
