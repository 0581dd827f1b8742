import fc from "fast-check";
import { expect, test } from "vitest";
import { FlowTable } from "./flow-table.ts";

const HOST = 0; // PACKET_HOST, PACKET_MULTICAST and PACKET_OUTGOING of linux/if_packet.h
const MULTICAST = 2;
const OUTGOING = 4;

interface Parts {
  readonly group?: readonly number[];
  readonly source?: number;
  readonly port?: number;
  readonly protocol?: number;
  readonly payload?: readonly number[];
  readonly payloadBytes?: number;
  readonly ttl?: number;
  readonly tos?: number;
}

/** Ethernet, IPv4 without options (RFC 791 3.1) and UDP (RFC 768), cut after `payload`. */
function ipv4({
  group = [239, 196, 4, 7],
  source = 7,
  port = 5004,
  protocol = 17,
  payload = [],
  ...rest
}: Parts = {}): Uint8Array {
  const { payloadBytes = payload.length, ttl = 8, tos = 0x88 } = rest;
  const bytes = new Uint8Array(42 + payload.length);
  const view = new DataView(bytes.buffer);
  bytes.set([1, 0, 0x5e, 68, 4, 7, 2, 0, 0, 0, 0, source]);
  view.setUint16(12, 0x0800);
  bytes.set([0x45, tos], 14);
  view.setUint16(16, 28 + payloadBytes);
  bytes.set([ttl, protocol], 22);
  bytes.set([192, 0, 2, source], 26);
  bytes.set(group, 30);
  view.setUint16(36, port);
  view.setUint16(38, 8 + payloadBytes);
  bytes.set(payload, 42);
  return bytes;
}

/** RFC 8200 section 3; with a fragment header (4.5) where told so. */
function ipv6(port: number, payloadBytes: number, isFragment = false): Uint8Array {
  const at = isFragment ? 62 : 54;
  const bytes = new Uint8Array(at + 8);
  const view = new DataView(bytes.buffer);
  bytes.set([2, 0, 0, 0, 0, 9], 6);
  view.setUint16(12, 0x86dd);
  view.setUint16(14, 0x6880); // traffic class 0x88: DSCP 34
  view.setUint16(18, payloadBytes + 8 + at - 54);
  bytes.set([isFragment ? 44 : 17, 5], 20);
  bytes.set([0xfe, 0x80], 22);
  bytes[37] = 9;
  bytes.set([0xff, 0x15], 38);
  bytes[53] = 4;
  if (isFragment) bytes[54] = 17;
  view.setUint16(at + 2, port);
  view.setUint16(at + 4, payloadBytes + 8);
  return bytes;
}

const take = (table: FlowTable, bytes: Uint8Array, type = MULTICAST, vlanId = -1, atNs = 5): void =>
  table.take(new DataView(bytes.buffer), 0, bytes.length, type, vlanId, atNs);

test("flow table: given frames of one sender, then they are one flow with its figures from the headers", () => {
  const table = new FlowTable();
  take(table, ipv4({ payloadBytes: 1000, ttl: 8 }), MULTICAST, -1, 10);
  take(table, ipv4({ payloadBytes: 200, ttl: 6, tos: 0 }), HOST, -1, 30);
  expect(table.flows()).toEqual([
    {
      ...{ group: "239.196.4.7", protocol: 17, port: 5004, source: "192.0.2.7", hardware: "02:00:00:00:00:07" },
      ...{ otherHardwareFrames: 0, vlanId: null, direction: "in", frames: 2, bytes: 1200 },
      ...{ leastBytes: 200, mostBytes: 1000, firstNs: 10, lastNs: 30, ttlLow: 6, ttlHigh: 8 },
      ...{ dscpLow: 0, dscpHigh: 34, asUnicastFrames: 1, look: null },
    },
  ]);
});

test("flow table: given IPv6, a first fragment of it, another protocol, a VLAN and this host's own, then each is told for itself", () => {
  const table = new FlowTable();
  take(table, ipv6(5004, 900));
  take(table, ipv6(5004, 4000, true)); // the datagram's length, not the fragment's
  take(table, ipv4({ protocol: 89, payloadBytes: 36 }));
  take(table, ipv4(), MULTICAST, 20);
  take(table, ipv4(), OUTGOING);
  const told = table.flows().map(({ group, protocol, port, vlanId, direction, mostBytes, dscpHigh, ttlHigh }) => ({
    ...{ group, protocol, port, vlanId, direction, mostBytes, dscpHigh, ttlHigh },
  }));
  const plain = { group: "239.196.4.7", vlanId: null, direction: "in", dscpHigh: 34, ttlHigh: 8 };
  expect(told).toEqual([
    { ...plain, group: "ff15::4", protocol: 17, port: 5004, mostBytes: 4000, ttlHigh: 5 },
    { ...plain, protocol: 89, port: null, mostBytes: 44 }, // what the IP header says
    { ...plain, protocol: 17, port: 5004, vlanId: 20, mostBytes: 0 },
    { ...plain, protocol: 17, port: 5004, direction: "out", mostBytes: 0 },
  ]);
  expect(table.flows()[0]?.frames).toBe(2);
});

test("flow table: given more senders than it has room for, then those that it has go on counting, and the others' frames are counted together", () => {
  const table = new FlowTable(3);
  for (let round = 0; round < 2; round++) for (let port = 1; port <= 5; port++) take(table, ipv4({ port }));
  expect(table.flows().map(({ port, frames }) => [port, frames])).toEqual([
    [1, 2],
    [2, 2],
    [3, 2],
  ]);
  expect(table.furtherFrames).toBe(4);
});

test("flow table: given any senders, then they are told as a plain map tells them", () => {
  const sender = fc.record({ port: fc.integer({ min: 0, max: 40 }), source: fc.integer({ min: 0, max: 9 }) });
  fc.assert(
    fc.property(fc.array(sender, { maxLength: 300 }), (senders) => {
      const table = new FlowTable(512);
      const plain = new Map<string, number>();
      for (const one of senders) {
        take(table, ipv4(one));
        const key = `${one.port} 192.0.2.${one.source}`;
        plain.set(key, (plain.get(key) ?? 0) + 1);
      }
      expect(new Map(table.flows().map(({ port, source, frames }) => [`${port} ${source}`, frames]))).toEqual(plain);
    }),
    { numRuns: 50 },
  );
});

test("flow table: given any bytes, then it never throws, and every figure has the bounds of its schema", () => {
  const table = new FlowTable(64);
  fc.assert(
    fc.property(
      fc.uint8Array({ maxLength: 400 }),
      fc.constantFrom([0x08, 0x00], [0x86, 0xdd], [0, 0]),
      (bytes, ethertype) => {
        if (bytes.length > 13) bytes.set(ethertype, 12);
        take(table, bytes);
      },
    ),
    { numRuns: 5000 },
  );
  for (const { mostBytes, ttlHigh, dscpHigh, port } of table.flows()) {
    expect([mostBytes <= 65_535, ttlHigh <= 255, dscpHigh <= 63, (port ?? 0) <= 65_535]).toEqual([
      true,
      true,
      true,
      true,
    ]);
  }
});

/** RFC 3550 section 5.1: version 2, payload type 96. */
const rtp = (seq: number, ssrc: number, rest: readonly number[] = []): number[] => [
  ...[0x80, 96, seq >> 8, seq & 0xff, 0, 0, 0, 0, 0, 0, ssrc >> 8, ssrc & 0xff],
  ...rest,
];
const tsPacket = [0x47, 1, 0, 0x10, ...new Array<number>(184).fill(0xff)];

test.each([
  ["rtp", (i: number) => ({ payload: rtp((65_530 + i) & 0xffff, 5), payloadBytes: 900 })],
  ["rtp", (i: number) => ({ payload: rtp(i >> 1, 5 + (i & 1)), payloadBytes: 900 })], // two sources in turn
  ["rtp-with-ts", (i: number) => ({ payload: rtp(i, 5, tsPacket), payloadBytes: 12 + 188 * 7 })],
  ["ts", () => ({ payload: tsPacket, payloadBytes: 188 * 7 })],
  ["other", () => ({ payload: [0x47, 0, 0, 0], payloadBytes: 100 })], // no whole packets
  ["other", () => ({ payload: rtp(7, 5), payloadBytes: 900 })], // numbers that stand still
  ["other", (i: number) => ({ payload: rtp((i * 7919) & 0xffff, (i * 31) & 0xffff), payloadBytes: 900 })],
  ["test", () => ({ payload: [0x64, 0x79, 0x65, 0x74], payloadBytes: 900 })],
] as const)("payload look: given packets of one kind, then it is %s", (look, packet) => {
  const table = new FlowTable();
  for (let i = 0; i < 20; i++) take(table, ipv4(packet(i)));
  expect(table.flows().map((flow) => flow.look)).toEqual([look]);
});
