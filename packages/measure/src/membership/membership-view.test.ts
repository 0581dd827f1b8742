import type { MembershipEvent, MembershipMessage, MembershipQuery, PimHello } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { viewMembership } from "./membership-view.ts";

const envelope = (
  source: string,
): Pick<
  MembershipQuery,
  | "family"
  | "sourceMac"
  | "destinationMac"
  | "vlanId"
  | "source"
  | "destination"
  | "ttlHops"
  | "hasRouterAlert"
  | "checksum"
> => ({
  family: source.includes(":") ? 6 : 4,
  sourceMac: "02:00:5e:10:00:01",
  destinationMac: "01:00:5e:00:00:01",
  vlanId: null,
  source,
  destination: "224.0.0.1",
  ttlHops: 1,
  hasRouterAlert: true,
  checksum: "good",
});

const query = (source: string, changes: Partial<MembershipQuery> = {}): MembershipQuery => ({
  ...envelope(source),
  kind: "query",
  protocol: source.includes(":") ? "mld" : "igmp",
  version: source.includes(":") ? 2 : 3,
  group: null,
  sources: [],
  maxResponseMs: 10_000,
  suppressesRouters: false,
  robustness: 2,
  queryIntervalMs: 125_000,
  hasExtension: false,
  ...changes,
});

const queryV2 = (source: string): MembershipQuery =>
  query(source, { version: 2, suppressesRouters: null, robustness: null, queryIntervalMs: null });

const report = (source: string, type: "TO_EX" | "TO_IN" | "BLOCK" | "unknown", group: string): MembershipMessage => ({
  ...envelope(source),
  kind: "report",
  protocol: "igmp",
  version: 3,
  records: [{ type, group, sources: type === "BLOCK" ? ["192.0.2.99"] : [] }],
  hasExtension: false,
});

const at = (seconds: number, message: MembershipMessage, direction: "in" | "out" = "in"): MembershipEvent => ({
  atNs: seconds * 1e9,
  direction,
  message,
});

const view = (events: readonly MembershipEvent[], untilS: number, fromS = 0): ReturnType<typeof viewMembership> =>
  viewMembership(events, { fromMs: fromS * 1000, untilMs: untilS * 1000 });

test("membership view: given no events, then nothing is known and nothing has stopped", () => {
  const { queriers, ipv4, own, others } = view([], 1000);
  expect({ queriers, own, others }).toEqual({ queriers: [], own: [], others: [] });
  expect(ipv4).toMatchObject({ electedQuerier: null, lastQueryMs: null, queriesStoppedMs: null });
  expect(ipv4.timers.source).toBe("default");
});

// RFC 3376 8.6 and 8.7: a querier that starts sends its first queries a quarter of the interval apart
test("membership view: given a querier that starts, then the interval is the median of what was seen", () => {
  const seen = view(
    [0, 31.25, 156.25, 281.25].map((s) => at(s, query("192.0.2.254"))),
    300,
  );
  expect(seen.queriers).toMatchObject([
    { address: "192.0.2.254", queries: 4, groupQueries: 0, firstMs: 0, lastMs: 281_250, intervalSeenMs: 125_000 },
  ]);
  expect(seen.ipv4).toMatchObject({ electedQuerier: "192.0.2.254", lastQueryMs: 281_250, queriesStoppedMs: null });
});

test("membership view: given two queries, then the interval is their distance; given one, it is unknown", () => {
  expect(view([at(1, queryV2("192.0.2.1")), at(6, queryV2("192.0.2.1"))], 7).queriers[0]?.intervalSeenMs).toBe(5000);
  expect(view([at(1, queryV2("192.0.2.1"))], 7).queriers[0]?.intervalSeenMs).toBeNull();
});

test("membership view: given queries that cease, then they have stopped after 255 s (RFC 3376 8.5), not before", () => {
  const events = [at(0, query("192.0.2.1")), at(125, query("192.0.2.1"))];
  expect(view(events, 125 + 255).ipv4.queriesStoppedMs).toBeNull();
  expect(view(events, 125 + 256).ipv4.queriesStoppedMs).toBe(125_000);
});

test("membership view: given a silence that nobody watched, then it proves nothing", () => {
  const events = [at(0, query("192.0.2.1"))];
  expect(view(events, 300, 200).ipv4.queriesStoppedMs).toBeNull();
});

// IGMPv2 states no interval: the second query of a starting querier must not set the clock at a quarter
test("membership view: given the two startup queries of an IGMPv2 querier, then it has 255 s all the same", () => {
  const events = [at(0, queryV2("192.0.2.1")), at(31.25, queryV2("192.0.2.1"))];
  expect(view(events, 31.25 + 254).ipv4.queriesStoppedMs).toBeNull();
  expect(view(events, 31.25 + 256).ipv4.queriesStoppedMs).toBe(31_250);
});

test("membership view: given two queriers at once, then both stand there and the lower address is elected", () => {
  const events = [at(0, query("10.0.0.1")), at(1, query("9.0.0.1")), at(2, query("0.0.0.0"))];
  const seen = view(events, 3);
  expect(seen.queriers.map((one) => [one.address, one.isProxy])).toEqual([
    ["10.0.0.1", false],
    ["9.0.0.1", false],
    ["0.0.0.0", true],
  ]);
  expect(seen.ipv4.electedQuerier).toBe("9.0.0.1");
  expect(seen.ipv4.lastQueryMs).toBe(2000); // hosts answer the proxy's query too
});

test("membership view: given a querier replaced by one with a higher address, then the new one is in office", () => {
  const events = [at(0, query("192.0.2.1")), ...[255, 380, 505].map((s) => at(s, query("192.0.2.2")))];
  expect(view(events, 506).ipv4.electedQuerier).toBe("192.0.2.2");
});

test("membership view: given only queries from 0.0.0.0, then nobody is elected though queries flow", () => {
  const seen = view([at(0, query("0.0.0.0"))], 1);
  expect(seen.ipv4).toMatchObject({ electedQuerier: null, lastQueryMs: 0 });
  expect(seen.ipv4.timers).toMatchObject({ source: "advertised", membershipIntervalLowMs: 260_000 });
});

test("membership view: given MLD queries from ::, then hosts ignore them (RFC 3810 5.1.14) and they count for nothing", () => {
  const seen = view([at(0, query("::"))], 1);
  expect(seen.queriers).toMatchObject([{ isProxy: true, acceptance: "not-link-local" }]);
  expect(seen.ipv6).toMatchObject({ electedQuerier: null, lastQueryMs: null });
});

test("membership view: given a query with a bad checksum or a VLAN tag, then it is none of this network's", () => {
  const seen = view([at(0, query("192.0.2.1", { checksum: "bad" })), at(1, query("192.0.2.2", { vlanId: 10 }))], 2);
  expect(seen.badChecksums).toBe(1);
  expect(seen.queriers.map((one) => one.vlanId)).toEqual([10]);
  expect(seen.ipv4.electedQuerier).toBeNull();
});

test("membership view: given versions and senders that differ under one address, then each stands apart", () => {
  const seen = view(
    [at(0, query("0.0.0.0")), at(1, queryV2("0.0.0.0")), at(2, query("0.0.0.0", { sourceMac: "02:00:5e:10:00:02" }))],
    3,
  );
  expect(seen.queriers).toHaveLength(3);
});

test("membership view: given group queries, then they don't count into the interval", () => {
  const group = { group: "233.252.0.1", maxResponseMs: 1000 };
  const seen = view([at(0, query("192.0.2.1")), at(1, query("192.0.2.1", group)), at(2, query("192.0.2.1"))], 3);
  expect(seen.queriers).toMatchObject([{ queries: 2, groupQueries: 1, intervalSeenMs: 2000, maxResponseMs: 10_000 }]);
});

test("membership view: given reports and leaves of both directions, then own and others' are kept apart", () => {
  const seen = view(
    [
      at(1, report("192.0.2.1", "TO_EX", "233.252.0.1"), "out"),
      at(2, report("192.0.2.2", "TO_EX", "233.252.0.2")),
      at(3, report("192.0.2.1", "TO_IN", "233.252.0.1"), "out"),
      at(4, report("192.0.2.2", "BLOCK", "233.252.0.3")),
      at(5, report("192.0.2.2", "unknown", "233.252.0.4")), // RFC 3376 4.2.12: ignored
    ],
    6,
  );
  expect(seen.own.map((one) => [one.atMs, one.kind, one.group])).toEqual([
    [1000, "report", "233.252.0.1"],
    [3000, "leave", "233.252.0.1"],
  ]);
  expect(seen.others.map((one) => [one.kind, one.reporter, one.group, one.sources])).toEqual([
    ["report", "192.0.2.2", "233.252.0.2", []],
    ["leave", "192.0.2.2", "233.252.0.3", ["192.0.2.99"]],
  ]);
});

test("membership view: given a PIM neighbour with a new generation id, then it has restarted once", () => {
  const hello = (generationId: number): PimHello => ({
    ...envelope("192.0.2.254"),
    kind: "pim-hello",
    protocol: "pim",
    holdtimeMs: 105_000,
    lanPruneDelay: null,
    designatedRouterPriority: 1,
    generationId,
    secondaryAddresses: [],
    otherOptions: [],
  });
  expect(view([at(0, hello(1)), at(30, hello(1)), at(60, hello(2))], 61).pimNeighbours).toEqual([
    {
      address: "192.0.2.254",
      family: 4,
      firstMs: 0,
      lastMs: 60_000,
      hellos: 3,
      holdtimeMs: 105_000,
      designatedRouterPriority: 1,
      restarts: 1,
    },
  ]);
});
