import type { IpAddress } from "@dyetrace/wire";
import { assembleBpf, BPF_PACKET_TYPE } from "./bpf-program.ts";

const WHOLE_FRAME = 0xffff;
const OTHER_HOST = 3; // PACKET_OTHERHOST and PACKET_OUTGOING (linux/if_packet.h)
const OUTGOING = 4;
const UDP = 17;
const FRAGMENT = 44; // IPv6 fragment header (RFC 8200, section 4.5)

/** Lets through what others send by UDP to one group and port, whole; of a packet in fragments the first one, which has the port. */
export function groupFilter(group: IpAddress, port: number): ArrayBuffer {
  const word = (at: number): number => new DataView(group.bytes.buffer, group.bytes.byteOffset).getUint32(at);
  const head = [
    ["ldb", BPF_PACKET_TYPE],
    ["jeq", OUTGOING, "drop", null],
    ["jeq", OTHER_HOST, "drop", null],
    ["ldh", 12],
  ] as const;
  const tail = ["keep", ["ret", WHOLE_FRAME], "drop", ["ret", 0]] as const;
  if (group.family === 4) {
    return assembleBpf([
      ...head,
      ["jeq", 0x0800, null, "drop"],
      ["ldw", 30],
      ["jeq", word(0), null, "drop"],
      ["ldb", 23],
      ["jeq", UDP, null, "drop"],
      ["ldh", 20],
      ["jset", 0x1fff, "drop", null],
      ["ldx-ip-header", 14],
      ["ldh+x", 16],
      ["jeq", port, "keep", "drop"],
      ...tail,
    ]);
  }
  return assembleBpf([
    ...head,
    ["jeq", 0x86dd, null, "drop"],
    ["ldw", 38],
    ["jeq", word(0), null, "drop"],
    ["ldw", 42],
    ["jeq", word(4), null, "drop"],
    ["ldw", 46],
    ["jeq", word(8), null, "drop"],
    ["ldw", 50],
    ["jeq", word(12), null, "drop"],
    ["ldb", 20],
    ["jeq", UDP, "udp", null],
    ["jeq", FRAGMENT, null, "drop"],
    ["ldb", 54],
    ["jeq", UDP, null, "drop"],
    ["ldh", 56],
    ["jset", 0xfff8, "drop", null],
    ["ldh", 64],
    ["jeq", port, "keep", "drop"],
    "udp",
    ["ldh", 56],
    ["jeq", port, "keep", "drop"],
    ...tail,
  ]);
}
