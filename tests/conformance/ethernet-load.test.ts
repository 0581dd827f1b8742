import { ipPacketSizes, wireBytes, wireRateBps } from "@dyetrace/site";
import { expect, test } from "vitest";

const perSecond = (payloadBytes: number, family: 4 | 6, linkBps: number): number =>
  linkBps / (8 * wireBytes(payloadBytes, family));

// RFC 2544 appendix B prints frames per second at 10 Mbit/s, rounded down. A frame of n bytes carries a UDP payload of
// n - 46: 14 Ethernet, 20 IPv4, 8 UDP and 4 FCS.
test.each([
  [64, 14_880],
  [128, 8445],
  [256, 4528],
  [512, 2349],
  [768, 1586],
  [1024, 1197],
  [1280, 961],
  [1518, 812],
])(
  "Ethernet: given frames of %i bytes at 10 Mbit/s, then %i fit in a second (RFC 2544 appendix B)",
  (frameBytes, frames) => {
    expect(Math.floor(perSecond(frameBytes - 46, 4, 10e6))).toBe(frames);
  },
);

// Computed from RFC 2544 appendix B: max(64, 14 + IP + 4) + 8 preamble + 12 gap.
test.each([
  [0, 4, 84, 1_488_095.24],
  [18, 4, 84, 1_488_095.24],
  [19, 4, 85, 1_470_588.24],
  [1316, 4, 1382, 90_448.63],
  [1472, 4, 1538, 81_274.38],
  [1316, 6, 1402, 89_158.35],
] as const)(
  "Ethernet: given %i bytes of UDP payload over IPv%i, then %i bytes on the wire",
  (payloadBytes, family, bytes, perGigabit) => {
    expect(wireBytes(payloadBytes, family)).toBe(bytes);
    expect(perSecond(payloadBytes, family, 1e9)).toBeCloseTo(perGigabit, 2);
  },
);

test("Ethernet: given 8 Mbit/s of MPEG-TS in 1316-byte datagrams, then 8.4012 Mbit/s on the wire (computed, RFC 2544 appendix B)", () => {
  expect(wireRateBps(8e6, 1316, 4) / 1e6).toBeCloseTo(8.4012, 4);
  // The same with a 12-byte RTP header on each datagram: 759.878 datagrams of 1328 bytes a second.
  expect(wireRateBps((8e6 / 1316) * 1328, 1328, 4) / 1e6).toBeCloseTo(8.4742, 4);
});

// RFC 791 section 3.2: all fragments but the last hold a multiple of 8 bytes. Computed: 1480 bytes of 1481 fit.
test("fragments: given one byte more than fits, then a second packet carries it (RFC 791 section 3.2)", () => {
  expect(ipPacketSizes(1472, 4)).toEqual([1500]);
  expect(ipPacketSizes(1473, 4)).toEqual([1500, 21]);
  expect(wireBytes(1473, 4)).toBe(1538 + 84);
});

// RFC 8200 section 4.5: 40 + 8 bytes of header leave 1452, of which 1448 is the largest multiple of 8.
test("fragments: given IPv6, then each carries a fragment header (RFC 8200 section 4.5)", () => {
  expect(ipPacketSizes(1452, 6)).toEqual([1500]);
  expect(ipPacketSizes(1453, 6)).toEqual([1496, 61]);
});

test("fragments: given the largest datagram, then 45 packets (computed: 65515 / 1480, RFC 791 section 3.2)", () => {
  const sizes = ipPacketSizes(65_507, 4);
  expect(sizes).toHaveLength(45);
  expect(sizes.reduce((sum, ipBytes) => sum + ipBytes - 20, 0)).toBe(65_515);
});
