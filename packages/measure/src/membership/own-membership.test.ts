import type { MembershipEvent } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { ownMembershipNs } from "./own-membership.ts";

const said = (atNs: number, direction: "in" | "out", type: "TO_EX" | "TO_IN"): MembershipEvent => ({
  atNs,
  direction,
  message: {
    family: 4,
    sourceMac: "02:00:5e:10:00:01",
    destinationMac: "01:00:5e:00:00:16",
    vlanId: null,
    source: "192.0.2.1",
    destination: "224.0.0.22",
    ttlHops: 1,
    hasRouterAlert: true,
    kind: "report",
    protocol: "igmp",
    version: 3,
    checksum: "good",
    records: [{ type, group: "233.252.0.1", sources: [] }],
    hasExtension: false,
  },
});

test("own membership: given an IGMPv3 join with its repeat, then the first own report in the time asked for counts", () => {
  const events = [
    said(1, "out", "TO_EX"),
    said(5, "in", "TO_EX"),
    said(10, "out", "TO_EX"),
    said(12, "out", "TO_EX"),
    said(20, "out", "TO_IN"),
  ];
  const query = { group: "233.252.0.1", source: null, effect: "join" as const, fromNs: 5, untilNs: 100 };
  expect(ownMembershipNs(events, query)).toBe(10);
  expect(ownMembershipNs(events, { ...query, effect: "leave" })).toBe(20);
  expect(ownMembershipNs(events, { ...query, effect: "leave", untilNs: 19 })).toBeNull();
  expect(ownMembershipNs(events, { ...query, group: "233.252.0.2" })).toBeNull();
});
