import { BPF_PACKET_TYPE, type BpfLine } from "../sockets/linux/bpf-program.ts";

export const WHOLE_FRAME = 0xffff;
export const OUTGOING = 4; // PACKET_OUTGOING (linux/if_packet.h)
const OTHER_HOST = 3; // PACKET_OTHERHOST

/**
 * The beginning of each of the watcher's filters, for Ethernet frames: lets IGMP and MLD pass both ways and PIM from others,
 * whole. What follows has the labels `other4` and `other6`, where the accumulator holds the protocol or next header.
 * Frames addressed to another host's own MAC address do not concern this host: they show only on a promiscuous card.
 * Offsets: 14 bytes of Ethernet (a VLAN tag is already taken off), then RFC 791 3.1 or RFC 8200 3.
 */
export const MEMBERSHIP_LINES: readonly BpfLine[] = [
  ["ldb", BPF_PACKET_TYPE],
  ["jeq", OTHER_HOST, "drop-early", null],
  ["ldh", 12],
  ["jeq", 0x0800, "ipv4", null],
  ["jeq", 0x86dd, "ipv6", "drop-early"],
  "drop-early",
  ["ret", 0],

  "ipv4",
  ["ldb", 23], // protocol
  ["jeq", 2, "whole", null],
  ["jeq", 103, "pim", "other4"],
  "whole",
  ["ret", WHOLE_FRAME],
  "pim",
  ["ldb", BPF_PACKET_TYPE],
  ["jeq", OUTGOING, "drop-pim", null],
  ["ret", WHOLE_FRAME],
  "drop-pim",
  ["ret", 0],

  "ipv6",
  ["ldb", 20], // next header
  ["jeq", 58, "icmp6", null],
  ["jeq", 0, "hop-by-hop", null],
  ["jeq", 103, "pim6", "other6"],
  "pim6",
  ["ldb", BPF_PACKET_TYPE],
  ["jeq", OUTGOING, "drop-6", "whole6"],
  "hop-by-hop", // of 8 * (length + 1) bytes, then ICMPv6
  ["ldb", 54],
  ["jeq", 58, null, "drop-6"],
  ["ldb", 55],
  ["add", 1],
  ["mul", 8],
  ["tax"],
  ["ldb+x", 54],
  ["jeq", 130, "whole6", null],
  ["jeq", 131, "whole6", null],
  ["jeq", 132, "whole6", null],
  ["jeq", 143, "whole6", "drop-6"],
  "icmp6", // a faulty MLD message without its hop-by-hop header is worth knowing
  ["ldb", 54],
  ["jeq", 130, "whole6", null],
  ["jeq", 131, "whole6", null],
  ["jeq", 132, "whole6", null],
  ["jeq", 143, "whole6", "drop-6"],
  "whole6",
  ["ret", WHOLE_FRAME],
  "drop-6",
  ["ret", 0],
];
