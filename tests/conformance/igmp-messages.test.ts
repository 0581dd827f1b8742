import { describe, expect, test } from "vitest";
import { contentOf, decode, hex, ipv4Frame, withChecksum } from "./membership-frames.ts";

const igmp = (bytes: string, options?: Parameters<typeof ipv4Frame>[1]): number[] => ipv4Frame(hex(bytes), options);
const older = { sources: [], suppressesRouters: null, robustness: null, queryIntervalMs: null, hasExtension: false };
const good = { protocol: "igmp", checksum: "good" };

describe("IGMP queries", () => {
  // RFC 2236 section 2 and RFC 3376 section 7.1: 8 bytes with Max Resp Code 0
  test("given an IGMPv1 general query, then its hosts answer within 10 s", () => {
    expect(contentOf(igmp("11 00 ee ff 00 00 00 00"))).toEqual({
      ...good,
      ...older,
      kind: "query",
      version: 1,
      group: null,
      maxResponseMs: 10_000,
    });
  });

  test("given an IGMPv2 general query, then Max Resp Time counts tenths of a second (RFC 2236 2.2)", () => {
    expect(contentOf(igmp("11 64 ee 9b 00 00 00 00"))).toEqual({
      ...good,
      ...older,
      kind: "query",
      version: 2,
      group: null,
      maxResponseMs: 10_000,
    });
  });

  test("given an IGMPv2 query with a code of 128 and more, then the field stays linear (RFC 2236 2.2)", () => {
    const message = withChecksum(hex("11 ff 0000 00000000"), 2);
    expect(contentOf(ipv4Frame(message))).toMatchObject({ version: 2, maxResponseMs: 25_500, checksum: "good" });
  });

  test("given an IGMPv2 query about one group, then the group is in the body", () => {
    expect(contentOf(igmp("11 0a fd f0 ef 01 02 03", { destination: "239.1.2.3" }))).toMatchObject({
      version: 2,
      group: "239.1.2.3",
      maxResponseMs: 1000,
      checksum: "good",
    });
  });

  // Layout of RFC 3376 section 4.1
  test("given an IGMPv3 general query, then QRV and QQIC are told", () => {
    expect(contentOf(igmp("11 64 ec 1e 00 00 00 00 02 7d 00 00"))).toEqual({
      ...good,
      kind: "query",
      version: 3,
      group: null,
      sources: [],
      maxResponseMs: 10_000,
      suppressesRouters: false,
      robustness: 2,
      queryIntervalMs: 125_000,
      hasExtension: false,
    });
  });

  test("given an IGMPv3 group query with S set, then routers' timers stay as they are (4.1.5)", () => {
    expect(contentOf(igmp("11 0a f3 73 ef 01 02 03 0a 7d 00 00"))).toMatchObject({
      version: 3,
      group: "239.1.2.3",
      suppressesRouters: true,
      robustness: 2,
      maxResponseMs: 1000,
      checksum: "good",
    });
  });

  test("given an IGMPv3 group-and-source query, then its sources are listed", () => {
    expect(contentOf(igmp("11 0a 40 0f e8 01 02 03 02 7d 00 01 c0 00 02 63"))).toMatchObject({
      version: 3,
      group: "232.1.2.3",
      sources: ["192.0.2.99"],
      checksum: "good",
    });
  });

  // RFC 3376 4.1.1 and 4.1.7; the first pair is the example of RFC 6636 4.2, the rest computed from the formula
  test.each([
    [0x7f, 12_700, 127_000],
    [0x80, 12_800, 128_000],
    [0x89, 20_000, 200_000],
    [0x9f, 49_600, 496_000],
    [0xff, 3_174_400, 31_744_000],
  ])(
    "given an IGMPv3 query with codes of %i, then Max Resp Time is %i ms and the interval %i ms",
    (code, response, interval) => {
      const message = withChecksum([0x11, code, 0, 0, 0, 0, 0, 0, 0x02, code, 0, 0], 2);
      expect(contentOf(ipv4Frame(message))).toMatchObject({ maxResponseMs: response, queryIntervalMs: interval });
    },
  );

  test("given QRV 0 and QQIC 0, then neither is stated (RFC 3376 4.1.6, 4.1.7)", () => {
    const message = withChecksum(hex("11 64 0000 00000000 00 00 0000"), 2);
    expect(contentOf(ipv4Frame(message))).toMatchObject({ version: 3, robustness: null, queryIntervalMs: null });
  });

  test("given the E bit of RFC 9279, then an extension follows", () => {
    const message = withChecksum(hex("11 64 0000 00000000 82 7d 0000 0001 0002 abcd"), 2);
    expect(contentOf(ipv4Frame(message))).toMatchObject({ version: 3, hasExtension: true, robustness: 2 });
  });

  // RFC 3376 7.1: by the length of the IP payload; the frame is padded to 60 bytes all the same
  test("given an 8-byte query in a frame padded to 60 bytes, then it is IGMPv2", () => {
    const frame = igmp("11 64 ee 9b 00 00 00 00", { isPadded: true, hasRouterAlert: false });
    expect(frame).toHaveLength(60);
    expect(contentOf(frame)).toMatchObject({ version: 2, checksum: "good" });
  });

  test.each([9, 10, 11])("given a query of %i bytes, then it is to be ignored", (length) => {
    const message = hex("11 64 ee 9b 00 00 00 00 00 00 00 00").slice(0, length);
    expect(contentOf(ipv4Frame(message))).toEqual({ kind: "malformed", protocol: "igmp", fault: "length" });
  });

  test("given a source count past the end, then it is to be ignored", () => {
    const message = withChecksum(hex("11 0a 0000 e8010203 02 7d 0002 c0000263"), 2);
    expect(contentOf(ipv4Frame(message))).toMatchObject({ kind: "malformed", fault: "length" });
  });

  test("given a wrong checksum, then the message says so", () => {
    expect(contentOf(igmp("11 64 ec 1f 00 00 00 00 02 7d 00 00"))).toMatchObject({ kind: "query", checksum: "bad" });
  });
});

describe("IGMP reports and leaves", () => {
  const report = (version: 1 | 2): Record<string, unknown> => ({
    ...good,
    kind: "report",
    version,
    records: [{ type: "IS_EX", group: "239.1.2.3", sources: [] }],
    hasExtension: false,
  });

  test("given an IGMPv1 and an IGMPv2 report, then each stands as IS_EX of no source (RFC 3376 7.3.2)", () => {
    expect(contentOf(igmp("12 00 fc fa ef 01 02 03"))).toEqual(report(1));
    expect(contentOf(igmp("16 00 f8 fa ef 01 02 03"))).toEqual(report(2));
  });

  test("given an IGMPv2 leave, then it names the group", () => {
    expect(contentOf(igmp("17 00 f7 fa ef 01 02 03", { destination: "224.0.0.2" }))).toEqual({
      ...good,
      kind: "leave",
      version: 2,
      group: "239.1.2.3",
    });
  });

  // Join, leave, current state, ALLOW and BLOCK as a Linux 6.18 host sends them; layout of RFC 3376 4.2
  test.each([
    ["22 00 e8 f9 00 00 00 01 04 00 00 00 ef 01 02 03", "TO_EX", "239.1.2.3", []],
    ["22 00 e9 f9 00 00 00 01 03 00 00 00 ef 01 02 03", "TO_IN", "239.1.2.3", []],
    ["22 00 ea f9 00 00 00 01 02 00 00 00 ef 01 02 03", "IS_EX", "239.1.2.3", []],
    ["22 00 2c 95 00 00 00 01 05 00 00 01 e8 01 02 03 c0 00 02 63", "ALLOW", "232.1.2.3", ["192.0.2.99"]],
    ["22 00 2b 95 00 00 00 01 06 00 00 01 e8 01 02 03 c0 00 02 63", "BLOCK", "232.1.2.3", ["192.0.2.99"]],
  ])("given %s, then the record is %s of %s", (bytes, type, group, sources) => {
    expect(contentOf(igmp(bytes, { destination: "224.0.0.22" }))).toEqual({
      ...good,
      kind: "report",
      version: 3,
      records: [{ type, group, sources }],
      hasExtension: false,
    });
  });

  test("given several records, auxiliary data and an unknown type, then each record is found behind the last", () => {
    const message = withChecksum(
      hex(`22 00 0000 80 00 0003
        01 02 0002 e8010203 c0000201 c0000202 deadbeef deadbeef
        07 00 0000 ef010203
        06 00 0001 e8010204 c6336401`),
      2,
    );
    expect(contentOf(ipv4Frame(message))).toMatchObject({
      checksum: "good",
      hasExtension: true, // RFC 9279: E is the top bit of byte 4
      records: [
        { type: "IS_IN", group: "232.1.2.3", sources: ["192.0.2.1", "192.0.2.2"] },
        { type: "unknown", group: "239.1.2.3", sources: [] }, // RFC 3376 4.2.12: ignored in silence
        { type: "BLOCK", group: "232.1.2.4", sources: ["198.51.100.1"] },
      ],
    });
  });

  test.each([
    ["one record more than there is", "22 00 0000 0000 0002 04 00 0000 ef010203"],
    ["one source more than there is", "22 00 0000 0000 0001 05 00 0002 e8010203 c0000263"],
    ["auxiliary data that are not there", "22 00 0000 0000 0001 04 01 0000 ef010203"],
  ])("given a report that announces %s, then it is to be ignored", (_, bytes) => {
    expect(contentOf(ipv4Frame(withChecksum(hex(bytes), 2)))).toMatchObject({ kind: "malformed", fault: "length" });
  });

  test("given a report longer than its records, then what follows is ignored (RFC 3376 4.2.11)", () => {
    const message = withChecksum(hex("22 00 0000 0000 0001 04 00 0000 ef010203 01020304"), 2);
    expect(contentOf(ipv4Frame(message))).toMatchObject({ checksum: "good", records: [{ group: "239.1.2.3" }] });
  });
});

describe("what stands around an IGMP message", () => {
  // The frame of a Linux 6.18 host that joins: captured, not computed
  const header = "46 c0 00 28 00 00 40 00 01 02 41 f8 c0 00 02 01 e0 00 00 16 94 04 00 00";
  const join = [
    ...hex("01005e000016 02005e100001 0800"),
    ...hex(header),
    ...hex("22 00 e8 f9 00 00 00 01 04 00 00 00 ef 01 02 03"),
  ];

  test("given a captured join, then addresses, TTL and Router Alert are told", () => {
    expect(decode(join)).toMatchObject({
      family: 4,
      sourceMac: "02:00:5e:10:00:01",
      destinationMac: "01:00:5e:00:00:16",
      vlanId: null,
      source: "192.0.2.1",
      destination: "224.0.0.22",
      ttlHops: 1,
      hasRouterAlert: true,
      kind: "report",
    });
  });

  test("given one bit of the IP header turned, then the message is not believed", () => {
    const frame = join.with(14 + 8, 3); // TTL 3 under the checksum of TTL 1
    expect(decode(frame)).toMatchObject({ kind: "malformed", fault: "header-checksum" });
  });

  test("given a header without options, then there is no Router Alert", () => {
    expect(decode(igmp("11 64 ee 9b 00 00 00 00", { hasRouterAlert: false }))).toMatchObject({ hasRouterAlert: false });
  });

  test("given a tagged frame, then the VLAN id is told; a priority tag is none (IEEE 802.1Q)", () => {
    expect(decode(igmp("11 64 ee 9b 00 00 00 00", { tag: 0xa00a }))).toMatchObject({ vlanId: 10, version: 2 });
    expect(decode(igmp("11 64 ee 9b 00 00 00 00", { tag: 0xa000 }))).toMatchObject({ vlanId: null, version: 2 });
  });

  test("given a fragment, then it is to be ignored", () => {
    for (const fragment of [0x2000, 0x0001]) {
      expect(decode(igmp("11 64 ee 9b 00 00 00 00", { fragment }))).toMatchObject({
        kind: "malformed",
        fault: "fragment",
      });
    }
  });

  test("given fewer bytes than the IP header announces, then the message is cut", () => {
    expect(decode(join, join.length - 1)).toMatchObject({ kind: "malformed", fault: "cut" });
  });

  test("given a proxy's query, then its source is 0.0.0.0 (RFC 4541 2.1.1 (4))", () => {
    expect(decode(igmp("11 64 ec 1e 00 00 00 00 02 7d 00 00", { source: "0.0.0.0" }))).toMatchObject({
      source: "0.0.0.0",
      kind: "query",
      checksum: "good",
    });
  });

  test.each([
    ["multicast router discovery (RFC 4286)", igmp("30 14 0000 0000 0002")],
    ["UDP", ipv4Frame(hex("bdec bdec 0010 0000 0102030405060708"), { protocol: 17 })],
    ["ARP", [...hex("ffffffffffff 02005e100001 0806"), ...new Array<number>(46).fill(0)]],
  ])("given %s, then it is no membership message", (_, frame) => {
    expect(decode(frame)).toBeNull();
  });
});
