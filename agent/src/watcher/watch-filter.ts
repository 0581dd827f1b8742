import { assembleBpf, BPF_PACKET_TYPE, type BpfLine } from "../sockets/linux/bpf-program.ts";
import { MEMBERSHIP_LINES, OUTGOING } from "./membership-filter.ts";

/** Bytes kept of a frame that may carry a test packet: all headers at their longest and the packet's own (134), rounded up. */
export const TEST_FRAME_BYTES = 160;
/** Longest list of ports that short jumps can reach over; with more, every multicast UDP frame is let through. */
const MAX_LISTED_PORTS = 200;

/**
 * What the watcher's packet socket lets through in a run, for Ethernet frames: memberships (`MEMBERSHIP_LINES`), and from
 * others UDP to a multicast group on one of the ports, first fragments included. Everything else costs no copy.
 */
export function watchFilter(ports: readonly number[]): ArrayBuffer {
  const distinct = [...new Set(ports)];
  const isListed = distinct.length <= MAX_LISTED_PORTS;
  const lines: readonly BpfLine[] = [
    ...MEMBERSHIP_LINES,

    "other4",
    ["jeq", 17, null, "drop-udp"],
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

    "other6",
    ["jeq", 17, "udp6", null],
    ["jeq", 44, null, "drop-udp6"], // a fragment
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
