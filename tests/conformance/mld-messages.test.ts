import { describe, expect, test } from "vitest";
import {
  contentOf,
  decode,
  FE80_1,
  FF02_1,
  FF02_2,
  FF02_16,
  FF15_1234,
  hex,
  ipv6Frame,
  pseudoHeader,
  withChecksum,
} from "./membership-frames.ts";

const ZERO_GROUP = "0000 0000 0000 0000 0000 0000 0000 0000";
const good = { protocol: "mld", checksum: "good" };

/** With the checksum of RFC 4443 2.3, from fe80::1. */
const mld = (bytes: string, destination: string): number[] => {
  const message = hex(bytes);
  return ipv6Frame(withChecksum(message, 2, pseudoHeader(FE80_1, destination, message.length, 58)), { destination });
};

describe("MLD queries", () => {
  // RFC 2710 section 3; the checksum computed over the pseudo-header of fe80::1 to ff02::1
  test("given an MLDv1 general query, then the response delay counts milliseconds", () => {
    expect(contentOf(ipv6Frame(hex(`82 00 59 17 27 10 00 00 ${ZERO_GROUP}`)))).toEqual({
      ...good,
      kind: "query",
      version: 1,
      group: null,
      sources: [],
      maxResponseMs: 10_000,
      suppressesRouters: null,
      robustness: null,
      queryIntervalMs: null,
      hasExtension: false,
    });
  });

  test("given an MLDv1 query with a delay past 32767, then the field stays linear (RFC 2710 3.4)", () => {
    expect(contentOf(mld(`82 00 0000 8fff 0000 ${ZERO_GROUP}`, FF02_1))).toMatchObject({
      version: 1,
      maxResponseMs: 36_863,
      checksum: "good",
    });
  });

  // RFC 3810 section 5.1
  test("given an MLDv2 general query, then QRV and QQIC are told", () => {
    expect(contentOf(ipv6Frame(hex(`82 00 56 96 27 10 00 00 ${ZERO_GROUP} 02 7d 00 00`)))).toEqual({
      ...good,
      kind: "query",
      version: 2,
      group: null,
      sources: [],
      maxResponseMs: 10_000,
      suppressesRouters: false,
      robustness: 2,
      queryIntervalMs: 125_000,
      hasExtension: false,
    });
  });

  test("given an MLDv2 group-and-source query with S and E set, then all of it is told", () => {
    const bytes = `82 00 0000 03e8 0000 ${FF15_1234} 8b 0a 0002 ${FE80_1} 20010db8 00000000 00000000 00000063`;
    expect(contentOf(mld(bytes, FF15_1234))).toEqual({
      ...good,
      kind: "query",
      version: 2,
      group: "ff15::1234",
      sources: ["fe80::1", "2001:db8::63"],
      maxResponseMs: 1000,
      suppressesRouters: true,
      robustness: 3,
      queryIntervalMs: 10_000,
      hasExtension: true,
    });
  });

  // RFC 3810 5.1.3: values computed from its formula
  test.each([
    [0x7fff, 32_767],
    [0x8000, 32_768],
    [0x8001, 32_776],
    [0x8fff, 65_528],
    [0x9000, 65_536],
    [0xc123, 561_536],
    [0xffff, 8_387_584],
  ])("given an MLDv2 query with code %i, then the response delay is %i ms", (code, maxResponseMs) => {
    const bytes = `82 00 0000 ${code.toString(16)} 0000 ${ZERO_GROUP} 02 7d 0000`;
    expect(contentOf(mld(bytes, FF02_1))).toMatchObject({ version: 2, maxResponseMs });
  });

  test.each([25, 26, 27])("given a query of %i bytes, then it is to be ignored (RFC 3810 8.1)", (length) => {
    const message = hex(`82 00 59 17 27 10 00 00 ${ZERO_GROUP} 02 7d 00 00`).slice(0, length);
    expect(contentOf(ipv6Frame(message))).toEqual({ kind: "malformed", protocol: "mld", fault: "length" });
  });

  test("given a source count past the end, then it is to be ignored", () => {
    expect(contentOf(mld(`82 00 0000 03e8 0000 ${FF15_1234} 02 0a 0001`, FF15_1234))).toMatchObject({
      kind: "malformed",
      fault: "length",
    });
  });

  test("given another destination than the checksum covers, then it is bad: the pseudo-header counts", () => {
    const frame = ipv6Frame(hex(`82 00 59 17 27 10 00 00 ${ZERO_GROUP}`), { destination: FF02_2 });
    expect(contentOf(frame)).toMatchObject({ kind: "query", checksum: "bad" });
  });
});

describe("MLD reports and done", () => {
  test("given an MLDv1 report and done, then both name the group", () => {
    const report = ipv6Frame(hex(`83 00 5b 97 00 00 00 00 ${FF15_1234}`), { destination: FF15_1234 });
    expect(contentOf(report)).toEqual({
      ...good,
      kind: "report",
      version: 1,
      records: [{ type: "IS_EX", group: "ff15::1234", sources: [] }],
      hasExtension: false,
    });
    const done = ipv6Frame(hex(`84 00 6c dc 00 00 00 00 ${FF15_1234}`), { destination: FF02_2 });
    expect(contentOf(done)).toEqual({ ...good, kind: "leave", version: 1, group: "ff15::1234" });
  });

  // As a Linux 6.18 host sends them; layout of RFC 3810 5.2
  test.each([
    ["8f 00 5d c3 00 00 00 01 04 00 00 00", "TO_EX"],
    ["8f 00 5e c3 00 00 00 01 03 00 00 00", "TO_IN"],
  ])("given the MLDv2 report %s of ff15::1234, then the record is %s", (bytes, type) => {
    expect(contentOf(ipv6Frame(hex(`${bytes} ${FF15_1234}`), { destination: FF02_16 }))).toEqual({
      ...good,
      kind: "report",
      version: 2,
      records: [{ type, group: "ff15::1234", sources: [] }],
      hasExtension: false,
    });
  });

  test("given records with sources and auxiliary data, then each is found behind the last", () => {
    const bytes = `8f 00 0000 0000 0002
      05 01 0001 ${FF15_1234} ${FE80_1} deadbeef
      06 00 0000 ${FF02_16}`;
    expect(contentOf(mld(bytes, FF02_16))).toMatchObject({
      checksum: "good",
      records: [
        { type: "ALLOW", group: "ff15::1234", sources: ["fe80::1"] },
        { type: "BLOCK", group: "ff02::16", sources: [] },
      ],
    });
  });

  test("given a record count past the end, then the report is to be ignored", () => {
    expect(contentOf(mld(`8f 00 0000 0000 0002 04 00 0000 ${FF15_1234}`, FF02_16))).toMatchObject({ fault: "length" });
  });
});

describe("what stands around an MLD message", () => {
  test("given the hop-by-hop header of RFC 2711, then Router Alert is seen; without it, it is not", () => {
    const query = hex(`82 00 59 17 27 10 00 00 ${ZERO_GROUP}`);
    expect(decode(ipv6Frame(query))).toMatchObject({ hasRouterAlert: true, ttlHops: 1, source: "fe80::1", family: 6 });
    expect(decode(ipv6Frame(query, { hasRouterAlert: false }))).toMatchObject({ hasRouterAlert: false, version: 1 });
  });

  test("given a proxy's query, then its source is :: (RFC 4541 3)", () => {
    const message = hex(`82 00 0000 2710 0000 ${ZERO_GROUP}`);
    const frame = ipv6Frame(withChecksum(message, 2, pseudoHeader(ZERO_GROUP, FF02_1, message.length, 58)), {
      source: ZERO_GROUP,
    });
    expect(decode(frame)).toMatchObject({ source: "::", checksum: "good", kind: "query" });
  });

  test("given neighbour discovery, router discovery and UDP, then they are no membership messages", () => {
    expect(decode(mld(`87 00 0000 0000 0000 ${FE80_1}`, FF02_1))).toBeNull(); // RFC 4861 4.3
    expect(decode(mld("97 14 0000 0000 0002", FF02_16))).toBeNull(); // RFC 4286 3
    expect(decode(ipv6Frame(hex("bdec bdec 0008 0000"), { nextHeader: 17, hasRouterAlert: false }))).toBeNull();
  });

  test("given a first fragment, then it is to be ignored; a later one says nothing of what it is", () => {
    const query = hex(`82 00 59 17 27 10 00 00 ${ZERO_GROUP}`);
    const fragment = (offset: string): number[] =>
      ipv6Frame([...hex(`3a 00 ${offset} 00000001`), ...query], { nextHeader: 44, hasRouterAlert: false }); // RFC 8200 4.5
    expect(decode(fragment("0001"))).toMatchObject({ kind: "malformed", protocol: "mld", fault: "fragment" });
    expect(decode(fragment("0009"))).toBeNull();
  });

  test("given fewer bytes than the IP header announces, then the message is cut", () => {
    const frame = ipv6Frame(hex(`82 00 59 17 27 10 00 00 ${ZERO_GROUP}`));
    expect(decode(frame, frame.length - 1)).toMatchObject({ kind: "malformed", fault: "cut" });
  });
});
