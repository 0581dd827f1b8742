import type { GroupRecord, MembershipMessage } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { Memberships } from "./memberships.ts";
import { NeighbourWants } from "./neighbour-wants.ts";

const ENVELOPE = {
  family: 4 as const,
  sourceMac: "02:00:00:00:00:01",
  destinationMac: "01:00:5e:00:00:16",
  vlanId: null,
  source: "192.0.2.10",
  destination: "224.0.0.22",
  ttlHops: 1,
  hasRouterAlert: true,
};
const report = (...records: readonly GroupRecord[]): MembershipMessage => ({
  ...ENVELOPE,
  kind: "report",
  protocol: "igmp",
  version: 3,
  checksum: "good",
  records: [...records],
  hasExtension: false,
});
const record = (type: GroupRecord["type"], sources: readonly string[] = []): GroupRecord => ({
  type,
  group: G,
  sources: [...sources],
});
const leave = (): MembershipMessage => ({
  ...ENVELOPE,
  kind: "leave",
  protocol: "igmp",
  version: 2,
  checksum: "good",
  group: G,
});
const G = "233.252.0.1";
const [S, T] = ["192.0.2.1", "192.0.2.2"];
/** RFC 3376 section 8.4 and 8.10 with their defaults: 260 s, and 2 s after a leave. */
const table = (): Memberships => new Memberships({ membershipMs: 260_000, lastMemberMs: 2_000 });

// The states are those of RFC 3376 section 6.4: what each record does to the group's and the sources' timers.
test("memberships: given a report without sources, then every source is wanted, for the membership interval", () => {
  const members = table();
  expect(members.take(report(record("IS_EX")), 0)).toBe(true);
  expect(members.wants(S, G)).toBe(true);
  expect(members.expire(259_999)).toBe(false);
  expect(members.expire(260_000)).toBe(true);
  expect(members.wants(S, G)).toBe(false);
});

test("memberships: given joins with sources, then those sources alone", () => {
  const members = table();
  members.take(report(record("ALLOW", [S])), 0);
  expect([members.wants(S, G), members.wants(T, G)]).toEqual([true, false]);
  members.take(report(record("IS_IN", [T])), 0);
  members.take(report(record("BLOCK", [S])), 1_000);
  members.expire(3_000);
  expect([members.wants(S, G), members.wants(T, G)]).toEqual([false, true]);
});

test("memberships: given a leave of either version, then it takes effect after the last member's time unless somebody answers", () => {
  for (const going of [leave(), report(record("TO_IN"))]) {
    const members = table();
    members.take(report(record("TO_EX")), 0);
    members.take(going, 10_000);
    members.expire(11_999);
    expect(members.wants(S, G)).toBe(true);
    members.take(report(record("IS_EX")), 11_999); // a neighbour's answer to the querier's question
    members.expire(13_000);
    expect(members.wants(S, G)).toBe(true);
    members.take(going, 20_000);
    members.expire(22_000);
    expect(members.wants(S, G)).toBe(false);
  }
});

test("memberships: given two members of which one leaves, then the other's membership goes on, though nobody asks it", () => {
  const from = (host: string, message: MembershipMessage): MembershipMessage => ({ ...message, sourceMac: host });
  const [stays, leaves] = ["02:00:00:00:00:01", "02:00:00:00:00:02"];
  for (const going of [leave(), report(record("TO_IN"))]) {
    const members = table();
    members.take(from(stays, report(record("TO_EX"))), 0);
    members.take(from(leaves, report(record("TO_EX"))), 0);
    members.take(from(leaves, going), 10_000);
    members.expire(12_000);
    expect(members.wants(S, G)).toBe(true);
    members.take(from(stays, going), 20_000);
    members.expire(22_000);
    expect([members.wants(S, G), [...members.groups]]).toEqual([false, []]);
  }
});

test("memberships: given a message whose checksum is bad, then it is as if it had not come", () => {
  const members = table();
  const bad = { ...report(record("IS_EX")), checksum: "bad" } as MembershipMessage;
  expect(members.take(bad, 0)).toBe(false);
  expect(members.wants(S, G)).toBe(false);
});

test("neighbour wants: given lists, then the newest of each neighbour counts, until it is not said again", () => {
  const wants = new NeighbourWants();
  const list = (...groups: readonly string[]): string => JSON.stringify([{ sources: [S], groups }]);
  expect(wants.take("192.0.2.5", list(G), 0)).toBe(true);
  expect(wants.take("192.0.2.5", list(G), 1_000)).toBe(false);
  expect([wants.wants(S, G), wants.wants(T, G)]).toEqual([true, false]);
  wants.take("192.0.2.6", list("233.252.0.2"), 1_000);
  expect([...wants.groups()].sort()).toEqual([G, "233.252.0.2"]);
  expect(wants.take("192.0.2.5", list(), 2_000)).toBe(true);
  expect(wants.wants(S, G)).toBe(false);
  expect(wants.expire(10_000)).toBe(true);
  expect([...wants.groups()]).toEqual([]);
});
