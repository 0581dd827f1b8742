import { assembleBpf, BPF_PACKET_TYPE, type BpfLine } from "../sockets/linux/bpf-program.ts";

/** Bytes kept of a frame that may carry a test packet: all headers at their longest and the packet's own (134), rounded up. */
export const TEST_FRAME_BYTES = 160;
/** Longest list of ports that short jumps can reach over; with more, every multicast UDP frame is let through. */
const MAX_LISTED_PORTS = 200;
const WHOLE_FRAME = 0xffff;
const OUTGOING = 4; // PACKET_OUTGOING (linux/if_packet.h)
const OTHER_HOST = 3; // PACKET_OTHERHOST

/**
 * What the watcher's packet socket lets through, for Ethernet frames: IGMP and MLD both ways, PIM from others, and from
 * others UDP to a multicast group on one of the ports, first fragments included. Everything else costs no copy.
 * Frames addressed to another host's own MAC address do not concern this host: they show only on a promiscuous card.
 * Offsets: 14 bytes of Ethernet (a VLAN tag is already taken off), then RFC 791 3.1 or RFC 8200 3.
 */
export function watchFilter(ports: readonly number[]): ArrayBuffer {
  const distinct = [...new Set(ports)];
  const isListed = distinct.length <= MAX_LISTED_PORTS;
  const lines: readonly BpfLine[] = [
    ["ldb", BPF_PACKET_TYPE],
    ["jeq", OTHER_HOST, "drop-early", null],
    ["ldh", 12],
    ["jeq", 0x0800, "ipv4", null],
    ["jeq", 0x86dd, "ipv6", "drop-early"],
    "drop-early",
    ["ret", 0],

    "ipv4",
    ["ldb", 23], // protocol
    ["jeq", 17, "udp4", null],
    ["jeq", 2, "whole", null],
    ["jeq", 103, "pim", "drop-4"],
    "drop-4",
    ["ret", 0],
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
    ["jeq", 17, "udp6", null],
    ["jeq", 44, "fragment6", null],
    ["jeq", 58, "icmp6", null],
    ["jeq", 0, "hop-by-hop", null],
    ["jeq", 103, "pim6", "drop-6"],
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

    "udp4",
    ["ldb", BPF_PACKET_TYPE],
    ["jeq", OUTGOING, "drop-udp", null],
    ["ldb", 30],
    ["and", 0xf0],
    ["jeq", 0xe0, null, "drop-udp"], // 224.0.0.0/4
    ["ldh", 20],
    ["jset", 0x1fff, "drop-udp", null], // a later fragment has no ports
    ["ldx-ip-header", 14],
    ["ldh+x", 16], // destination port
    ["jeq", 0, "drop-udp", "port"],
    "drop-udp",
    ["ret", 0],

    "fragment6",
    ["ldb", 54],
    ["jeq", 17, null, "drop-udp6"],
    ["ldh", 56],
    ["jset", 0xfff8, "drop-udp6", null],
    ["ldb", BPF_PACKET_TYPE],
    ["jeq", OUTGOING, "drop-udp6", null],
    ["ldb", 38],
    ["jeq", 0xff, null, "drop-udp6"], // ff00::/8
    ["ldh", 64],
    ["jeq", 0, "drop-udp6", "port"],
    "udp6",
    ["ldb", BPF_PACKET_TYPE],
    ["jeq", OUTGOING, "drop-udp6", null],
    ["ldb", 38],
    ["jeq", 0xff, null, "drop-udp6"],
    ["ldh", 56],
    ["jeq", 0, "drop-udp6", "port"],
    "drop-udp6",
    ["ret", 0],

    "port",
    ...(isListed ? distinct : []).map((port): BpfLine => ["jeq", port, "test-frame", null]),
    ["ret", isListed ? 0 : TEST_FRAME_BYTES],
    "test-frame",
    ["ret", TEST_FRAME_BYTES],
  ];
  return assembleBpf(lines);
}
