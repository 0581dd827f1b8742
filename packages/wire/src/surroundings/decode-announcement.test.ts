import fc from "fast-check";
import { expect, test } from "vitest";
import { parseAs } from "../parse-message.ts";
import { decodeAnnouncement } from "./decode-announcement.ts";
import { type Announcement, AnnouncementSchema } from "./surroundings-schema.ts";

const bytesOf = (hex: string): Uint8Array =>
  Uint8Array.from(hex.match(/../g) ?? [], (byte) => Number.parseInt(byte, 16));

/** Sent by lldpd 1.0.16 of Debian 12 on a bridge's port, and taken from the wire. */
const SENT = bytesOf(
  "0180c200000e02005e10000188cc02070402005e1000020403073234060200040a09706965722d656173740c0841207377697463680e04009c0004" +
    "100c0501c000020702000000050008027031fe0900120f030100000000fe0900120f010080000036fe060080c201000afe0d0080c20300140" +
    "66b696f736b730000",
);

test("decodeAnnouncement: given a frame of another program, then all that it says, as that program was told to say it", () => {
  expect(decodeAnnouncement(SENT)).toEqual({
    source: "02:00:5e:10:00:01",
    chassis: "02:00:5e:10:00:02",
    portId: "24",
    ttlS: 4,
    portDescription: "p1",
    systemName: "pier-east",
    systemDescription: "A switch",
    capabilities: ["bridge"],
    addresses: ["192.0.2.7"],
    untaggedVlan: 10,
    vlans: [{ vlan: 20, name: "kiosks" }],
  });
});

const head = SENT.subarray(0, 14);
const frame = (...tlvs: (readonly [type: number, ...value: number[]])[]): Uint8Array =>
  Uint8Array.from([
    ...head,
    ...tlvs.flatMap(([type, ...value]) => [(type << 1) | (value.length >> 8), value.length & 255, ...value]),
  ]);
const [CHASSIS, PORT, TTL] = [
  [1, 7, 65],
  [2, 7, 66],
  [3, 0, 120],
] as const;

// IEEE 802.1AB, 8.2: the three mandatory TLVs, in this order; 9.2.7.7.1: a frame without them is discarded.
test("decodeAnnouncement: given mandatory parts that are missing, in another order or too short, then it is none", () => {
  expect(decodeAnnouncement(frame(CHASSIS, PORT, TTL))).toMatchObject({ chassis: "A", portId: "B", ttlS: 120 });
  expect(decodeAnnouncement(frame(PORT, CHASSIS, TTL))).toBeNull();
  expect(decodeAnnouncement(frame(CHASSIS, PORT))).toBeNull();
  expect(decodeAnnouncement(frame(CHASSIS, PORT, [3, 0]))).toBeNull();
  expect(decodeAnnouncement(frame([1, 4, 2, 0, 94], PORT, TTL))).toBeNull(); // an Ethernet address of three octets
  expect(decodeAnnouncement(Uint8Array.from([...SENT.subarray(0, 12), 8, 0]))).toBeNull();
});

test("decodeAnnouncement: given optional parts that are cut, empty or too many, then the rest is read, within bounds", () => {
  const many = Array.from({ length: 100 }, (_, i) => [127, 0, 0x80, 0xc2, 3, 0, i + 1, 1, 65] as const);
  const read = decodeAnnouncement(
    frame(CHASSIS, PORT, TTL, [8, 200, 1, 192, 0], [5], [7, 0], [127, 0, 0x80, 0xc2, 1, 0x0f, 0xff], ...many),
  ) as Announcement;
  expect([read.addresses, read.systemName, read.capabilities, read.untaggedVlan]).toEqual([[], null, null, null]);
  expect(read.vlans).toHaveLength(64);
  expect(decodeAnnouncement(frame(CHASSIS, PORT, TTL, [5, 65, 27, 91, 65]))?.systemName).toBe("A\ufffd[A");
});

test("decodeAnnouncement: given any bytes, then it never throws, and what it reads has the form that is sent on", () => {
  const tlv = fc.tuple(fc.integer({ min: 0, max: 127 }), fc.uint8Array({ maxLength: 40 }));
  const frames = fc.oneof(
    fc.uint8Array({ maxLength: 200 }),
    fc
      .array(tlv, { maxLength: 12 })
      .map((tlvs) => frame(CHASSIS, PORT, TTL, ...tlvs.map(([t, v]) => [t, ...v] as const))),
    fc.uint8Array({ minLength: 1, maxLength: 20 }).map((value) => frame([1, ...value], [2, ...value], TTL)),
    fc.tuple(fc.nat(SENT.length - 1), fc.nat(255)).map(([at, byte]) => SENT.with(at, byte)),
  );
  fc.assert(
    fc.property(frames, (bytes) => {
      const read = decodeAnnouncement(bytes);
      if (read !== null) parseAs(AnnouncementSchema, read, "MESSAGE_INVALID", "an announcement");
    }),
    { numRuns: 5_000 },
  );
});
