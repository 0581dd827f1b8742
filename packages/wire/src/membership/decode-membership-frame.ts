import { decodeIgmp } from "./decode-igmp.ts";
import { decodeMld } from "./decode-mld.ts";
import { decodePimHello } from "./decode-pim-hello.ts";
import type { MembershipMessage } from "./membership-message.ts";
import { ICMP6, IGMP, openMembershipFrame } from "./membership-payload.ts";

/**
 * Reads IGMP, MLD or a PIM hello out of an Ethernet frame. Never throws, whatever the bytes.
 * @param frame starts at the destination MAC; a VLAN tag may stand before the ethertype
 * @param view over the same bytes; @param length how many of them are valid
 * @returns null when the frame is something else
 */
export function decodeMembershipFrame(frame: Uint8Array, view: DataView, length: number): MembershipMessage | null {
  const valid = Math.min(length, frame.byteLength, view.byteLength);
  const payload = openMembershipFrame(frame, view, valid);
  if (payload === null) return null;
  if (payload.protocol === IGMP) return decodeIgmp(frame, view, payload, valid);
  if (payload.protocol === ICMP6) return decodeMld(frame, view, payload, valid);
  return decodePimHello(frame, view, payload, valid);
}
