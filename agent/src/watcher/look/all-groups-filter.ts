import { assembleBpf, BPF_PACKET_TYPE } from "../../sockets/linux/bpf-program.ts";

/**
 * Bytes kept of a data frame: headers at their longest, an RTP header, and the first bytes of two transport stream packets, by
 * which a format is told.
 */
export const LOOK_FRAME_BYTES = 320;
const WHOLE_FRAME = 0xffff;
const OTHER_HOST = 3; // PACKET_OTHERHOST (linux/if_packet.h)

/**
 * What a look at all groups lets through, for Ethernet frames: everything that is addressed to a group, from others and from
 * this host, without later fragments; IGMP, PIM, ICMPv6 and what has a hop-by-hop header whole. Frames to another host's own
 * Ethernet address show only on a promiscuous card, and do not concern this host.
 */
export const allGroupsFilter = (): ArrayBuffer =>
  assembleBpf([
    ["ldb", BPF_PACKET_TYPE],
    ["jeq", OTHER_HOST, "drop", null],
    ["ldh", 12],
    ["jeq", 0x0800, "ipv4", null],
    ["jeq", 0x86dd, "ipv6", "drop"],

    "ipv4",
    ["ldb", 30],
    ["and", 0xf0],
    ["jeq", 0xe0, null, "drop"], // 224.0.0.0/4
    ["ldb", 23], // protocol
    ["jeq", 2, "whole", null],
    ["jeq", 103, "whole", null],
    ["ldh", 20],
    ["jset", 0x1fff, "drop", "head"], // a later fragment has no ports, and the first was counted

    "ipv6",
    ["ldb", 38],
    ["jeq", 0xff, null, "drop"], // ff00::/8
    ["ldb", 20], // next header
    ["jeq", 0, "whole", null],
    ["jeq", 58, "whole", null],
    ["jeq", 103, "whole", null],
    ["jeq", 44, null, "head"],
    ["ldh", 56],
    ["jset", 0xfff8, "drop", "head"],

    "whole",
    ["ret", WHOLE_FRAME],
    "head",
    ["ret", LOOK_FRAME_BYTES],
    "drop",
    ["ret", 0],
  ]);
