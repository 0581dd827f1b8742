import { parseIpAddress } from "@dyetrace/wire";
import koffi from "koffi";
import { afterAll, beforeAll, expect, test } from "vitest";
import { assembleBpf } from "../../agent/src/sockets/linux/bpf-program.ts";
import { groupFilter } from "../../agent/src/sockets/linux/group-filter.ts";
import { allGroupsFilter, LOOK_FRAME_BYTES } from "../../agent/src/watcher/look/all-groups-filter.ts";
import { lookFilter } from "../../agent/src/watcher/look-filter.ts";
import { TEST_FRAME_BYTES, watchFilter } from "../../agent/src/watcher/watch-filter.ts";
import { FE80_1, FF02_1, FF02_16, FF15_1234, hex, ipv4Frame, ipv6Frame } from "./membership-frames.ts";

/**
 * The kernel runs the filter here as it does on a packet socket: attached to one end of a pair of datagram sockets, it
 * decides what comes out of what the other end put in, and how much of it. Needs no rights and no network.
 */
const libc = koffi.load(null);
const socketpair = libc.func("int socketpair(int domain, int type, int protocol, void *fds)");
const setsockopt = libc.func("int setsockopt(int fd, int level, int name, void *value, uint32_t length)");
const write = libc.func("long write(int fd, void *from, size_t length)");
const read = libc.func("long read(int fd, void *into, size_t length)");
const close = libc.func("int close(int fd)");

let ends: [number, number];
beforeAll(() => {
  const fds = new ArrayBuffer(8);
  expect(socketpair(1, 2 | 0o4000, 0, fds)).toBe(0); // AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK
  const view = new DataView(fds);
  ends = [view.getInt32(0, true), view.getInt32(4, true)];
});
afterAll(() => {
  for (const fd of ends) close(fd);
});

/** @returns bytes of the frame that pass, 0 when it is dropped */
function passes(program: ArrayBuffer, frame: readonly number[]): number {
  const request = new ArrayBuffer(16); // struct sock_fprog (linux/filter.h)
  new DataView(request).setUint16(0, program.byteLength / 8, true);
  new DataView(request).setBigUint64(8, koffi.address(program), true);
  expect(setsockopt(ends[1], 1, 26, request, 16)).toBe(0); // SOL_SOCKET, SO_ATTACH_FILTER
  write(ends[0], Uint8Array.from(frame).buffer, frame.length); // refused when the other end's filter drops it
  return Math.max(0, Number(read(ends[1], new ArrayBuffer(4096), 4096)));
}

const padding = (bytes: number): number[] => new Array<number>(bytes).fill(0);
/** From port 9 to `port`; RFC 768. */
const udp = (port: number, payloadBytes: number): number[] => [
  ...hex("0009"),
  ...[port >> 8, port & 0xff, (payloadBytes + 8) >> 8, (payloadBytes + 8) & 0xff, 0, 0],
  ...padding(payloadBytes),
];
const PORT = 48_620;
const filter = watchFilter([5004, PORT]);
const group4 = { protocol: 17, destination: "233.252.0.1", hasRouterAlert: false };
const group6 = { destination: FF15_1234, nextHeader: 17, hasRouterAlert: false };

test("assembled programs: given one that is known to work, then its instructions are the same", () => {
  // Only IGMP: 28,0,0,12  15,0,3,0x800  30,0,0,23  15,0,1,2  06,0,0,0xffff  06,0,0,0 (opcodes of linux/bpf_common.h)
  const program = assembleBpf([
    ["ldh", 12],
    ["jeq", 0x0800, null, "drop"],
    ["ldb", 23],
    ["jeq", 2, null, "drop"],
    ["ret", 0xffff],
    "drop",
    ["ret", 0],
  ]);
  expect(Buffer.from(program).toString("hex")).toBe(
    "280000000c000000" +
      "1500000300080000" +
      "3000000017000000" +
      "1500000102000000" +
      "06000000ffff0000" +
      "0600000000000000",
  );
});

test("assembled programs: given a label that is not there or too far away, then it is an error", () => {
  expect(() => assembleBpf([["jeq", 1, "nowhere", null]])).toThrow("nowhere");
  const far = Array.from({ length: 256 }, () => ["ret", 0] as const);
  expect(() => assembleBpf([["jeq", 1, "far", null], ...far, "far", ["ret", 0]])).toThrow("far");
});

test.each([
  ["IGMP", ipv4Frame(hex("16 00 f8 fa ef 01 02 03"))],
  ["IGMP without Router Alert", ipv4Frame(hex("16 00 f8 fa ef 01 02 03"), { hasRouterAlert: false })],
  ["PIM", ipv4Frame(hex("20 00 dfff"), { protocol: 103 })],
  ["PIM over IPv6", ipv6Frame(hex("20 00 dfff"), { nextHeader: 103, hasRouterAlert: false })],
  ...[130, 131, 132, 143].flatMap((type): [string, number[]][] => [
    [`MLD ${type}`, ipv6Frame([type, ...padding(23)], { destination: FF02_16 })],
    [`MLD ${type} without Router Alert`, ipv6Frame([type, ...padding(23)], { hasRouterAlert: false })],
  ]),
])("watch filter: given %s, then the whole frame passes", (_, frame) => {
  expect(passes(filter, frame)).toBe(frame.length);
  expect(passes(watchFilter([]), frame)).toBe(frame.length);
});

test("watch filter: given MLD behind a longer hop-by-hop header, then it passes", () => {
  // 16 bytes: Router Alert and PadN of 8 and more (RFC 8200 4.2 and 4.3)
  const payload = [...hex("3a 01 05 02 0000 01 08 00000000 00000000"), 143, ...padding(23)];
  const frame = ipv6Frame(payload, { nextHeader: 0, hasRouterAlert: false });
  expect(passes(filter, frame)).toBe(frame.length);
});

test("watch filter: given test traffic, then the beginning of the frame passes", () => {
  expect(passes(filter, ipv4Frame(udp(PORT, 1316), group4))).toBe(TEST_FRAME_BYTES);
  expect(passes(filter, ipv4Frame(udp(5004, 1316), group4))).toBe(TEST_FRAME_BYTES);
  expect(passes(filter, ipv4Frame(udp(PORT, 96), group4))).toBe(14 + 20 + 8 + 96);
  expect(passes(filter, ipv4Frame(udp(PORT, 1316), { ...group4, hasRouterAlert: true }))).toBe(TEST_FRAME_BYTES); // IP options
  expect(passes(filter, ipv6Frame(udp(PORT, 1316), group6))).toBe(TEST_FRAME_BYTES);
});

test("watch filter: given fragments, then only the first one passes, since it alone has ports", () => {
  const first = ipv4Frame(udp(PORT, 1400), { ...group4, fragment: 0x2000 });
  const later = ipv4Frame(udp(PORT, 1400), { ...group4, fragment: 0x20b9 });
  expect([passes(filter, first), passes(filter, later)]).toEqual([TEST_FRAME_BYTES, 0]);
  const fragment6 = (offset: string): number[] =>
    ipv6Frame([...hex(`11 00 ${offset} 00000001`), ...udp(PORT, 1400)], { ...group6, nextHeader: 44 });
  expect([passes(filter, fragment6("0001")), passes(filter, fragment6("05a9"))]).toEqual([TEST_FRAME_BYTES, 0]);
});

test.each([
  ["UDP to another port", ipv4Frame(udp(5005, 100), group4)],
  ["UDP to another port over IPv6", ipv6Frame(udp(5005, 100), group6)],
  ["unicast UDP", ipv4Frame(udp(PORT, 100), { ...group4, destination: "192.0.2.2" })],
  ["unicast UDP over IPv6", ipv6Frame(udp(PORT, 100), { ...group6, destination: FE80_1 })],
  ["broadcast UDP", ipv4Frame(udp(PORT, 100), { ...group4, destination: "255.255.255.255" })],
  ["TCP", ipv4Frame(udp(PORT, 100), { ...group4, protocol: 6 })],
  ["neighbour discovery", ipv6Frame([135, ...padding(23)], { destination: FF02_1, hasRouterAlert: false })],
  ["another ICMPv6 message with Router Alert", ipv6Frame([151, ...padding(7)])],
  ["ARP", [...hex("ffffffffffff 02005e100001 0806"), ...padding(46)]],
  ["a frame that is too short", hex("01005e000001 02005e100001 0800 46")],
])("watch filter: given %s, then nothing passes", (_, frame) => {
  expect(passes(filter, frame)).toBe(0);
});

test("watch filter: given 200 ports, then each of them passes and no other; given more, then all multicast UDP does", () => {
  const ports = Array.from({ length: 200 }, (_, i) => 20_000 + i);
  const listed = watchFilter(ports);
  expect([19_999, 20_000, 20_199, 20_200].map((port) => passes(listed, ipv4Frame(udp(port, 200), group4)))).toEqual([
    0,
    TEST_FRAME_BYTES,
    TEST_FRAME_BYTES,
    0,
  ]);
  const open = watchFilter([...ports, 20_200]);
  expect(passes(open, ipv4Frame(udp(9, 200), group4))).toBe(TEST_FRAME_BYTES);
  expect(passes(open, ipv6Frame(udp(9, 200), group6))).toBe(TEST_FRAME_BYTES);
  expect(passes(open, ipv4Frame(udp(9, 200), { ...group4, destination: "192.0.2.2" }))).toBe(0);
});

/** A packet of any protocol to a group; `look` passes it to be sorted by `GroupUseWatch`. */
const looks = (program: ArrayBuffer, destination: string, protocol = 17): number =>
  passes(program, ipv4Frame(udp(9999, 600), { protocol, destination, hasRouterAlert: false }));
const looks6 = (program: ArrayBuffer, destination: string): number =>
  passes(program, ipv6Frame(udp(9999, 600), { destination, nextHeader: 17, hasRouterAlert: false }));

test("look filter: given frames to a looked-for group, then they pass on any port, by any protocol but ICMP, and so do those of groups with its Ethernet address", () => {
  const look = lookFilter(["239.195.10.4", "ff15::1234"]);
  // RFC 1112 section 6.4: 32 groups have one Ethernet address.
  for (const group of ["239.195.10.4", "239.67.10.4", "224.195.10.4"])
    expect(looks(look, group)).toBe(TEST_FRAME_BYTES);
  expect(looks(look, "239.195.10.4", 33)).toBe(TEST_FRAME_BYTES);
  expect(looks(look, "239.195.10.4", 1)).toBe(0);
  for (const group of ["239.195.10.5", "239.194.10.4", "10.67.10.4"]) expect(looks(look, group)).toBe(0);
  // RFC 2464 section 7: the last 32 bits.
  expect(looks6(look, FF15_1234)).toBe(TEST_FRAME_BYTES);
  expect(looks6(look, FF15_1234.replace("ff15", "ff38"))).toBe(TEST_FRAME_BYTES);
  expect(looks6(look, FF15_1234.replace("1234", "1235"))).toBe(0);
  expect(passes(look, ipv4Frame(hex("16 00 f8 fa ef 01 02 03")))).toBeGreaterThan(0);
});

test("look filter: given a group among audio devices, or more groups than it can list, then every group passes, to be sorted later", () => {
  expect(looks(lookFilter(["239.69.3.7"]), "239.69.81.4")).toBe(TEST_FRAME_BYTES);
  const many = lookFilter(Array.from({ length: 101 }, (_, i) => `239.195.10.${i}`));
  expect(looks(many, "239.195.10.100")).toBe(TEST_FRAME_BYTES);
  expect(looks(many, "10.0.0.1")).toBe(0);
});

test("all groups' filter: given data to any group, then its beginning passes; membership and neighbour discovery pass whole; the rest does not", () => {
  const all = allGroupsFilter();
  expect(passes(all, ipv4Frame(udp(5005, 1316), group4))).toBe(LOOK_FRAME_BYTES);
  expect(passes(all, ipv6Frame(udp(5005, 1316), group6))).toBe(LOOK_FRAME_BYTES);
  expect(passes(all, ipv4Frame(padding(44), { ...group4, protocol: 89, destination: "224.0.0.5" }))).toBe(14 + 20 + 44);
  const report = ipv4Frame(hex("16 00 f8 fa ef 01 02 03"));
  expect(passes(all, report)).toBe(report.length);
  const solicitation = ipv6Frame([135, ...padding(400)], { destination: FF02_1, hasRouterAlert: false });
  expect(passes(all, solicitation)).toBe(solicitation.length);
  expect(passes(all, ipv4Frame(udp(PORT, 1400), { ...group4, fragment: 0x2000 }))).toBe(LOOK_FRAME_BYTES);
  expect(passes(all, ipv4Frame(udp(PORT, 1400), { ...group4, fragment: 0x20b9 }))).toBe(0);
  expect(passes(all, ipv4Frame(udp(PORT, 100), { ...group4, destination: "192.0.2.2" }))).toBe(0);
  expect(passes(all, ipv6Frame(udp(PORT, 100), { ...group6, destination: FE80_1 }))).toBe(0);
});

const ofGroup = (group: string): ArrayBuffer =>
  groupFilter(parseIpAddress(group) ?? { family: 4, bytes: new Uint8Array(4) }, PORT);

test("group filter: given a stream of others to one group and port, then it passes whole, and of fragments the first", () => {
  const [filter4, filter6] = [ofGroup("233.252.0.1"), ofGroup("ff15::1234")];
  const [whole4, whole6] = [ipv4Frame(udp(PORT, 1316), group4), ipv6Frame(udp(PORT, 1316), group6)];
  expect(passes(filter4, whole4)).toBe(whole4.length);
  expect(passes(filter6, whole6)).toBe(whole6.length);
  const withOptions = ipv4Frame(udp(PORT, 100), { ...group4, hasRouterAlert: true });
  expect(passes(filter4, withOptions)).toBe(withOptions.length);
  const first = ipv4Frame(udp(PORT, 1400), { ...group4, fragment: 0x2000 });
  const later = ipv4Frame(udp(PORT, 1400), { ...group4, fragment: 0x20b9 });
  expect([passes(filter4, first), passes(filter4, later)]).toEqual([first.length, 0]);
  const fragment6 = (offset: string): number[] =>
    ipv6Frame([...hex(`11 00 ${offset} 00000001`), ...udp(PORT, 1400)], { ...group6, nextHeader: 44 });
  expect(passes(filter6, fragment6("0001"))).toBe(fragment6("0001").length);
  expect(passes(filter6, fragment6("05a9"))).toBe(0);
});

test("group filter: given another group, port or protocol, or a membership message, then nothing passes", () => {
  const [filter4, filter6] = [ofGroup("233.252.0.1"), ofGroup("ff15::1234")];
  for (const frame of [
    ipv4Frame(udp(PORT, 100), { ...group4, destination: "233.252.0.2" }),
    ipv4Frame(udp(5005, 100), group4),
    ipv4Frame(udp(PORT, 100), { ...group4, protocol: 6 }),
    ipv4Frame(hex("16 00 f8 fa ef 01 02 03")),
    ipv6Frame(udp(PORT, 100), group6),
  ]) {
    expect(passes(filter4, frame)).toBe(0);
  }
  for (const frame of [
    ipv6Frame(udp(5005, 100), group6),
    ipv6Frame(udp(PORT, 100), { ...group6, destination: FF02_16 }),
    ipv4Frame(udp(PORT, 100), group4),
  ]) {
    expect(passes(filter6, frame)).toBe(0);
  }
});
