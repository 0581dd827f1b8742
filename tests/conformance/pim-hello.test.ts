import { describe, expect, test } from "vitest";
import {
  contentOf,
  decode,
  FE80_1,
  hex,
  ipv4Frame,
  ipv6Frame,
  pseudoHeader,
  withChecksum,
} from "./membership-frames.ts";

/** Layouts of RFC 7761 sections 4.9 and 4.9.2. All PIM routers are 224.0.0.13 and ff02::d. */
const FF02_D = "ff02 0000 0000 0000 0000 0000 0000 000d";
const hello = (options: string): number[] =>
  ipv4Frame(withChecksum(hex(`20 00 0000 ${options}`), 2), {
    protocol: 103,
    destination: "224.0.0.13",
    hasRouterAlert: false,
  });

describe("PIM hello", () => {
  test("given all options of RFC 7761, then each is told", () => {
    const options = `0001 0002 0069
      0002 0004 81f4 09c4
      0013 0004 00000001
      0014 0004 cafe0001
      0018 000c 01 00 c0000202 01 00 c6336402
      0016 0000`;
    expect(contentOf(hello(options))).toEqual({
      kind: "pim-hello",
      protocol: "pim",
      checksum: "good",
      holdtimeMs: 105_000, // 0x69 s, the default of section 4.11
      lanPruneDelay: { canDisableJoinSuppression: true, propagationMs: 500, overrideMs: 2500 }, // defaults of 4.11
      designatedRouterPriority: 1,
      generationId: 0xcafe0001,
      secondaryAddresses: ["192.0.2.2", "198.51.100.2"],
      otherOptions: [22], // bidirectional capable (RFC 5015)
    });
  });

  test("given no options, then nothing is made up", () => {
    expect(contentOf(hello(""))).toEqual({
      kind: "pim-hello",
      protocol: "pim",
      checksum: "good",
      holdtimeMs: null,
      lanPruneDelay: null,
      designatedRouterPriority: null,
      generationId: null,
      secondaryAddresses: [],
      otherOptions: [],
    });
  });

  test("given a holdtime of 0xffff, then the neighbour stays for ever; of 0, then it says goodbye", () => {
    expect(contentOf(hello("0001 0002 ffff"))).toMatchObject({ holdtimeMs: "forever" });
    expect(contentOf(hello("0001 0002 0000"))).toMatchObject({ holdtimeMs: 0 });
  });

  test("given a hello over IPv6, then the checksum covers the pseudo-header with next header 103", () => {
    const message = hex(`20 00 0000 0001 0002 0069 0018 0012 02 00 20010db8 00000000 00000000 00000001`);
    const summed = withChecksum(message, 2, pseudoHeader(FE80_1, FF02_D, message.length, 103));
    const frame = ipv6Frame(summed, { destination: FF02_D, nextHeader: 103, hasRouterAlert: false });
    expect(contentOf(frame)).toMatchObject({ checksum: "good", secondaryAddresses: ["2001:db8::1"] });
    const elsewhere = ipv6Frame(summed, { nextHeader: 103, hasRouterAlert: false });
    expect(contentOf(elsewhere)).toMatchObject({ kind: "pim-hello", checksum: "bad" });
  });

  test.each([
    ["runs past the end", "0001 0004 0069"],
    ["has a holdtime of 4 bytes", "0001 0004 00000069"],
    ["ends inside an option's header", "0001 00"],
    ["has an address of no family", "0018 0006 09 00 c0000202"],
  ])("given a hello that %s, then it is to be ignored", (_, options) => {
    expect(contentOf(hello(options))).toEqual({ kind: "malformed", protocol: "pim", fault: "length" });
  });

  test("given another PIM message or version, then it is no hello", () => {
    const options = { protocol: 103, hasRouterAlert: false };
    expect(decode(ipv4Frame(hex("23 00 dcff"), options))).toBeNull(); // join/prune
    expect(decode(ipv4Frame(hex("10 00 efff"), options))).toBeNull(); // version 1
  });
});
