import type { GroupRecordType, MembershipMessage } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { membershipEffect } from "./membership-effect.ts";

const GROUP = "232.1.2.3";
const SOURCE = "192.0.2.99";
const envelope = {
  family: 4,
  sourceMac: "02:00:5e:10:00:01",
  destinationMac: "01:00:5e:00:00:16",
  vlanId: null,
  source: "192.0.2.1",
  destination: "224.0.0.22",
  ttlHops: 1,
  hasRouterAlert: true,
  protocol: "igmp",
  checksum: "good",
} as const;

const report = (...records: [GroupRecordType, string, readonly string[]][]): MembershipMessage => ({
  ...envelope,
  kind: "report",
  version: 3,
  records: records.map(([type, group, sources]) => ({ type, group, sources })),
  hasExtension: false,
});

// The state changes of RFC 3376 5.1 and the current states of 4.2.12, as seen by one membership of the host
test.each<[GroupRecordType, readonly string[], "join" | "leave" | null, "join" | "leave" | null]>([
  // record, its sources, what it means for any source, what for (SOURCE, GROUP)
  ["TO_EX", [], "join", "join"],
  ["IS_EX", [], "join", "join"],
  ["TO_EX", [SOURCE], "join", "leave"],
  ["TO_IN", [], "leave", "leave"],
  ["TO_IN", [SOURCE], "leave", "join"],
  ["IS_IN", [SOURCE], null, "join"],
  ["IS_IN", ["192.0.2.1"], null, null],
  ["ALLOW", [SOURCE], null, "join"],
  ["BLOCK", [SOURCE], null, "leave"],
  ["BLOCK", ["192.0.2.1"], null, null],
  ["unknown", [], null, null],
])("membership effect: given %s of %j, then it is %s for any source and %s for one", (type, sources, any, one) => {
  const message = report([type, GROUP, sources]);
  expect(membershipEffect(message, GROUP, null)).toBe(any);
  expect(membershipEffect(message, GROUP, SOURCE)).toBe(one);
  expect(membershipEffect(message, "232.1.2.4", null)).toBeNull();
});

test("membership effect: given an IGMPv2 leave, then it ends the membership", () => {
  const leave: MembershipMessage = { ...envelope, kind: "leave", version: 2, group: GROUP };
  expect(membershipEffect(leave, GROUP, null)).toBe("leave");
  expect(membershipEffect(leave, "232.1.2.4", null)).toBeNull();
});

test("membership effect: given several records of one group, then the last that says something counts", () => {
  const message = report(["ALLOW", GROUP, [SOURCE]], ["BLOCK", GROUP, ["192.0.2.1"]]);
  expect(membershipEffect(message, GROUP, SOURCE)).toBe("join");
});
