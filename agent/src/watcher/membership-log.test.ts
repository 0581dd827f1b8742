import type { MembershipMessage } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { MembershipLog } from "./membership-log.ts";

const S = 1e9;
const envelope = {
  family: 4,
  sourceMac: "02:00:5e:10:00:01",
  destinationMac: "01:00:5e:00:00:01",
  vlanId: null,
  source: "192.0.2.1",
  destination: "224.0.0.1",
  ttlHops: 1,
  hasRouterAlert: true,
  protocol: "igmp",
  checksum: "good",
} as const;

const query: MembershipMessage = {
  ...envelope,
  kind: "query",
  version: 2,
  group: null,
  sources: [],
  maxResponseMs: 10_000,
  suppressesRouters: null,
  robustness: null,
  queryIntervalMs: null,
  hasExtension: false,
};

const report = (records: number): MembershipMessage => ({
  ...envelope,
  kind: "report",
  version: 3,
  records: Array.from({ length: records }, (_, i) => ({ type: "IS_EX", group: `233.252.0.${i % 256}`, sources: [] })),
  hasExtension: false,
});

test("membership log: given a run that begins, then its first report carries the last minutes and no more", () => {
  const log = new MembershipLog();
  log.add(100 * S, "in", query);
  log.add(390 * S, "out", report(1));
  log.add(400 * S, "in", query);
  log.begin(500 * S);
  log.add(501 * S, "in", query);
  const first = log.take(500 * S);
  expect(first.membership.map((event) => [event.atNs, event.direction])).toEqual([
    [-110 * S, "out"], // what was heard at 100 s is older than 300 s
    [-100 * S, "in"],
    [1 * S, "in"],
  ]);
  expect(log.take(500 * S)).toEqual({ membership: [], unlistedMembership: 0 });
});

test("membership log: given a second run, then it too hears what came before, the first run included", () => {
  const log = new MembershipLog();
  log.begin(0);
  log.add(1 * S, "in", query);
  log.take(0);
  log.begin(60 * S);
  expect(log.take(60 * S).membership.map((event) => event.atNs)).toEqual([-59 * S]);
});

test("membership log: given a flood of reports, then the queries from before it are still there", () => {
  const log = new MembershipLog();
  log.add(0, "in", query);
  for (let i = 1; i <= 10_000; i++) log.add(i, "in", report(1));
  log.begin(1 * S);
  const { membership } = log.take(1 * S);
  expect(membership[0]?.message.kind).toBe("query");
  expect(membership).toHaveLength(129);
});

test("membership log: given more than a report holds, then the rest is counted, by messages and by their size", () => {
  const log = new MembershipLog();
  log.begin(0);
  for (let i = 0; i < 1500; i++) log.add(i, "in", query);
  expect(log.take(0)).toMatchObject({ unlistedMembership: 500 });
  for (let i = 0; i < 100; i++) log.add(i, "in", report(183)); // a full IGMPv3 report at an MTU of 1500
  const { membership, unlistedMembership } = log.take(0);
  expect(membership.length + unlistedMembership).toBe(100);
  expect(JSON.stringify(membership).length).toBeLessThan(1_000_000); // a control message holds 4 MiB in all
  expect(membership.length).toBeGreaterThan(40);
});
