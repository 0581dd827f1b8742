import { electQuerier, isProxySource, membershipTimers, type QuerierSeen, queryAcceptance } from "@dyetrace/measure";
import type { MembershipQuery } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { decode, FF02_1, hex, ipv6Frame, pseudoHeader, withChecksum } from "./membership-frames.ts";

const querier = (changes: Partial<QuerierSeen>): QuerierSeen => ({
  address: "192.0.2.1",
  mac: "02:00:5e:10:00:01",
  vlanId: null,
  family: 4,
  protocol: "igmp",
  version: 3,
  isOwn: false,
  isProxy: false,
  acceptance: "heeded",
  firstMs: 0,
  lastMs: 0,
  queries: 1,
  groupQueries: 0,
  generalQueryMs: [0],
  intervalSeenMs: null,
  intervalAdvertisedMs: null,
  maxResponseMs: null,
  robustness: null,
  ...changes,
});

describe("membership timers", () => {
  // RFC 3376 8.4 (RV x QI + QRI), RFC 9776 8.4 (RV x QI + 2 x QRI) and RFC 3376 8.5, computed; first row: the defaults
  test.each([
    [2, 125, 10, 260, 270, 255],
    [2, 60, 10, 130, 140, 125],
    [3, 125, 10, 385, 395, 380],
    [2, 125, 25, 275, 300, 262.5],
  ])(
    "given RV %i, QI %i s and QRI %i s, then memberships last %d to %d s and another querier counts as present for %d s",
    (rv, qi, qri, low, high, office) => {
      const told = { robustness: rv, intervalAdvertisedMs: qi * 1000, maxResponseMs: qri * 1000 };
      expect(membershipTimers(querier(told))).toEqual({
        source: "advertised",
        membershipIntervalLowMs: low * 1000,
        membershipIntervalHighMs: high * 1000,
        otherQuerierPresentMs: office * 1000,
      });
    },
  );

  test("given no querier, or one IGMPv2 query, then the defaults stand and are named so", () => {
    const defaults = { source: "default", membershipIntervalLowMs: 260_000, membershipIntervalHighMs: 270_000 };
    expect(membershipTimers(null)).toMatchObject(defaults);
    expect(membershipTimers(querier({ version: 2, maxResponseMs: 10_000 }))).toMatchObject(defaults);
  });

  test("given steady IGMPv2 queries every 20 s, then the interval is measured", () => {
    const seen = { version: 2 as const, maxResponseMs: 10_000, generalQueryMs: [0, 20_000, 40_000, 60_000] };
    expect(membershipTimers(querier({ ...seen, intervalSeenMs: 20_000 }))).toEqual({
      source: "measured",
      membershipIntervalLowMs: 50_000,
      membershipIntervalHighMs: 60_000,
      otherQuerierPresentMs: 45_000,
    });
  });

  // RFC 3376 8.6: the startup query interval is a quarter of the query interval
  test("given one gap of 31.25 s, then the interval may be 125 s", () => {
    const seen = { version: 2 as const, maxResponseMs: 10_000, generalQueryMs: [0, 31_250], intervalSeenMs: 31_250 };
    expect(membershipTimers(querier(seen))).toMatchObject({
      source: "measured",
      membershipIntervalHighMs: 270_000,
      otherQuerierPresentMs: 255_000,
    });
  });
});

describe("querier election", () => {
  // RFC 2236 3, RFC 3376 6.6.2: lower address, as an unsigned number; RFC 3810 7.6.2: lower interface id
  test.each([
    [["192.0.2.254", "192.0.2.1"], "192.0.2.1"],
    [["10.0.0.1", "9.0.0.1"], "9.0.0.1"],
    [["192.0.2.1", "9.255.255.255"], "9.255.255.255"],
    [["fe80::2", "fe80::1"], "fe80::1"],
    [["fe80::1:0:0:0", "fe80::ffff:1:1"], "fe80::ffff:1:1"],
    [["0.0.0.0", "192.0.2.254"], "192.0.2.254"], // RFC 4541 2.1.1 (4)
    [["::", "fe80::1"], "fe80::1"], // RFC 4541 3
    [["0.0.0.0"], null],
    [[], null],
  ])("given queries from %j, then %s is the querier", (addresses, elected) => {
    expect(electQuerier(addresses)).toBe(elected);
    expect(electQuerier(addresses.toReversed())).toBe(elected);
  });

  test("given 0.0.0.0 and ::, then they are proxies and no other address is", () => {
    expect(["0.0.0.0", "::", "0.0.0.1", "::1"].map(isProxySource)).toEqual([true, true, false, false]);
  });
});

describe("which queries hosts act on", () => {
  const mldQuery = (source: string, options: { hopLimit?: number; hasRouterAlert?: boolean } = {}): MembershipQuery => {
    const message = hex(`82 00 0000 2710 0000 ${"0000".repeat(8)} 02 7d 0000`);
    const frame = ipv6Frame(withChecksum(message, 2, pseudoHeader(source, FF02_1, message.length, 58)), {
      source,
      ...options,
    });
    const decoded = decode(frame);
    if (decoded?.kind !== "query") throw new Error("No query");
    return decoded;
  };
  const linkLocal = "fe80 0000 0000 0000 0000 0000 0000 0001";
  const global = "2001 0db8 0000 0000 0000 0000 0000 0001";

  // RFC 3810 6.2 and 5.1.14: link-local source, hop limit 1, Router Alert, or the query is dropped in silence
  test("given MLD queries, then those from elsewhere, from afar or without Router Alert are ignored", () => {
    expect(queryAcceptance(mldQuery(linkLocal))).toBe("heeded");
    expect(queryAcceptance(mldQuery(global))).toBe("not-link-local");
    expect(queryAcceptance(mldQuery("0000".repeat(8)))).toBe("not-link-local");
    expect(queryAcceptance(mldQuery(linkLocal, { hopLimit: 2 }))).toBe("hop-limit");
    expect(queryAcceptance(mldQuery(linkLocal, { hasRouterAlert: false }))).toBe("no-router-alert");
    expect(queryAcceptance({ ...mldQuery(linkLocal), checksum: "bad" })).toBe("bad-checksum");
  });

  // As a Linux 6.18 host does: no Router Alert, TTL 5 and source 0.0.0.0 are all answered, a wrong checksum is not
  test("given IGMP queries, then only a wrong checksum makes hosts ignore them", () => {
    const igmp = { ...mldQuery(linkLocal), protocol: "igmp" as const, family: 4 as const, source: "0.0.0.0" };
    expect(queryAcceptance({ ...igmp, ttlHops: 5, hasRouterAlert: false })).toBe("heeded");
    expect(queryAcceptance({ ...igmp, checksum: "bad" })).toBe("bad-checksum");
  });
});
