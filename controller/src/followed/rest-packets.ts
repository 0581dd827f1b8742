import type { ToldPart } from "./told-stays.ts";

/** What the packets without an RTP number are, for most of them. */
export function restPackets(parts: readonly ToldPart[]): { readonly isTransportStream: boolean } {
  let packets = 0;
  let ofTs = 0;
  for (const { followed } of parts) {
    packets += followed.digest.packets;
    ofTs += followed.digest.ts?.datagrams ?? 0;
  }
  return { isTransportStream: ofTs * 2 > packets };
}
