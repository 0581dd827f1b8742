import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { QuerierHeard, QuerierObservation, RunObservations, SeqRange } from "../run/run-observations.ts";

/**
 * Which queries count: those of the group's family (RFC 3376 for IPv4, RFC 3810 for IPv6), in the time that is told of.
 * Timers: queries every 4 s, answered within 1 s; a membership lasts 9 s (section 8.4 of RFC 3376), a querier has to be
 * taken for gone after 8.5 s (section 8.5).
 */
const site = sketchSite(
  ["tower--core", "core--sw-east", "sw-east--kiosk", "sw-east--desk", "core--hall", "core--gate"],
  "core",
);
const HOSTS = ["kiosk", "desk", "hall", "gate"];
const GROUPS = { 4: "233.252.0.1", 6: "ff15::1" } as const;
const TIMERS = { queryIntervalMs: 4_000, queryResponseMs: 1_000, robustness: 2, lastMemberMs: 2_000 };
const behindEast = segmentBetween(site, "core", "sw-east");

type Family = 4 | 6;

function stretch(family: Family, firstMs: number, lastMs: number, more: Partial<QuerierHeard> = {}): QuerierHeard {
  const address = family === 4 ? "192.0.2.1" : "fe80::1";
  const queries = 1 + Math.round((lastMs - firstMs) / 4_000);
  return { address, family, version: family === 4 ? 3 : 2, queries, firstMs, lastMs, intervalMs: 4_000, ...more };
}
const hears = (host: string, ...queriers: QuerierHeard[]): QuerierObservation => ({
  host,
  canHear: true,
  watchedFromMs: -60_000,
  watchedToMs: 30_000,
  queriers,
});

/** 3,000 packets in 30 s; these hosts miss these numbers. */
function runOf(family: Family, hosts: readonly string[], lost: readonly SeqRange[]): RunObservations {
  const stream = { stream: "board", group: GROUPS[family], source: "tower", listeners: HOSTS, packets: 3_000 };
  const run = simulateRun(site, [stream], [], seededRandom(3));
  return {
    ...run,
    timers: TIMERS,
    mldTimers: TIMERS,
    listeners: run.listeners.map((one) =>
      hosts.includes(one.host)
        ? { ...one, lost, receivedPackets: 3_000 - lost.reduce((sum, [first, last]) => sum + last - first + 1, 0) }
        : one,
    ),
  };
}
const reports = (family: Family, hosts: readonly string[], ...atMs: number[]): RunObservations["membership"] =>
  hosts.flatMap((host) => atMs.map((at) => ({ kind: "report" as const, host, group: GROUPS[family], atMs: at })));
const findingsIn = (run: RunObservations): readonly Finding[] => locate(site, run).findings;
const kindsIn = (run: RunObservations): string[] => findingsIn(run).map(({ kind }) => kind);

const other = (family: Family): Family => (family === 4 ? 6 : 4);
const steady = (family: Family): QuerierHeard => stretch(family, -2_000, 30_000);

for (const family of [4, 6] as const) {
  test(`ages-out: given queries of IPv${other(family)} alone at hosts whose IPv${family} stream runs out, then no host is said to leave queries unanswered`, () => {
    const run: RunObservations = {
      ...runOf(family, ["kiosk", "desk"], [[1_100, 2_999]]),
      membership: reports(family, HOSTS, 500),
      queriers: [
        ...["kiosk", "desk"].map((host) => hears(host, steady(other(family)))),
        ...["hall", "gate"].map((host) => hears(host, steady(4), steady(6))),
      ],
    };
    const [finding, ...more] = findingsIn(run);
    expect(more).toEqual([]);
    expect(finding).toMatchObject({ kind: "ages-out" });
    expect(finding?.suspects).toContain(behindEast);
    expect(finding?.evidence.join(" ")).toContain(`heard no ${family === 4 ? "IGMP" : "MLD"} query`);
  });

  test(`no-querier: given IPv${other(family)}'s queries alone and IPv${family} streams, then IPv${family} has no querier`, () => {
    const run = { ...runOf(family, [], []), queriers: HOSTS.map((host) => hears(host, steady(other(family)))) };
    const [finding, ...more] = findingsIn(run);
    expect(more).toEqual([]);
    expect(finding).toMatchObject({ kind: "no-querier", suspects: ["core"] });
    expect(finding?.title).toContain(`No ${family === 4 ? "IGMP" : "MLD"} querier`);
    // Of a family that no stream of the run is of, nothing is said.
    const healthy = { ...runOf(other(family), [], []), queriers: run.queriers };
    expect(kindsIn(healthy)).toEqual([]);
  });

  test(`no-querier: given an IPv${family} querier that ended before the run, or in it, then that is said with its times`, () => {
    const ended = (lastMs: number): RunObservations => ({
      ...runOf(family, [], []),
      queriers: HOSTS.map((host) => hears(host, stretch(family, lastMs - 40_000, lastMs), steady(other(family)))),
    });
    const [before] = findingsIn(ended(-20_000));
    expect(before).toMatchObject({ kind: "no-querier", suspects: ["core"] });
    expect(before?.title).toContain("came 20.0 s before the run began");
    expect(before?.evidence.join(" ")).toContain("none in the 50.0 s after it");
    const [within] = findingsIn(ended(12_000));
    expect(within).toMatchObject({ kind: "no-querier" });
    expect(within?.title).toContain("came at 12.0 s");
    // Two intervals and half a response may pass without a query.
    expect(kindsIn(ended(21_600))).toEqual([]);
  });
}

test("no-querier: given queries that came lately before a run that is shorter than their interval, then there is a querier", () => {
  const seldom = { intervalMs: 125_000, queries: 2, firstMs: -165_000, lastMs: -40_000 };
  const queriers = HOSTS.map((host) => ({ ...hears(host, { ...steady(4), ...seldom }), watchedFromMs: -300_000 }));
  expect(kindsIn({ ...runOf(4, [], []), queriers })).toEqual([]);
});

test("no-querier: given a host that lost its queries while another still hears them, then there is one", () => {
  const queriers = [hears("kiosk", stretch(4, -40_000, 2_000)), ...["hall", "gate"].map((h) => hears(h, steady(4)))];
  expect(kindsIn({ ...runOf(4, [], []), queriers })).toEqual([]);
});

test("ages-out: given a query that may still be answered as the stream stops, then the host is not said to leave it unanswered", () => {
  // The querier was silent from 1 to 11 s; what it asks at 11 s is answered within 1 s.
  const queriers = HOSTS.map((host) => hears(host, stretch(4, -7_000, 1_000), stretch(4, 11_000, 30_000)));
  const asked = (atSeq: number): Finding | undefined =>
    findingsIn({
      ...runOf(4, ["kiosk"], [[atSeq, 2_999]]),
      membership: reports(4, HOSTS, 1_500),
      queriers,
    }).find(({ kind }) => kind === "ages-out");
  expect(asked(1_150)?.suspects).not.toEqual(["kiosk"]);
  expect(asked(1_650)?.suspects).toEqual(["kiosk"]);
});

// A2 of the trade's troubles: the querier is away for longer than a membership lasts, and comes back.
test("ages-out: given queries that stay away for 25 s and come back, then the gap is a membership that ran out, with the querier as suspect", () => {
  const away = [stretch(4, -58_000, -10_000), stretch(4, 16_000, 28_000)];
  const lost: SeqRange = [99, 1_649];
  const run = runOf(4, HOSTS, [lost]);
  const gone: RunObservations = {
    ...run,
    membership: [...reports(4, HOSTS, -9_500), ...reports(4, HOSTS, 16_500)],
    listeners: run.listeners.map((one) => ({ ...one, joinedFromMs: -20_000 })),
    queriers: HOSTS.map((host) => hears(host, ...away)),
  };
  const [finding, ...more] = findingsIn(gone);
  expect(more).toEqual([]);
  expect(finding).toMatchObject({ kind: "ages-out", suspects: ["core"] });
  expect(finding?.title).toContain("the next report brought it back");
  expect(finding?.evidence.join(" ")).toContain("heard no IGMP query from 1.0 s after the last report to the stop");
  // The same gap with queries and reports all the time is a gap.
  const answered = reports(4, HOSTS, ...[-7, -3, 1, 5, 9, 13, 17].map((s) => 1_000 * s));
  const asked = { ...gone, membership: answered, queriers: HOSTS.map((host) => hears(host, steady(4))) };
  expect(kindsIn(asked)).toEqual(["loses"]);
});

const VLANS = loadSitePlan(
  `
site: Quillfen
vlans:
  10: { querier: core }
  20: { querier: core }
nodes:
  core: { kind: switch }
  pier: { kind: switch }
  tower: { kind: host }
  kiosk: { kind: host }
  hall: { kind: host }
  gate: { kind: host }
  shop: { kind: host }
  till: { kind: host }
links:
  - { between: [core:1, pier:24], vlan: [10, 20] }
  - { between: [core:2, tower:eth0], vlan: 10 }
  - { between: [core:3, hall:eth0], vlan: 10 }
  - { between: [pier:1, kiosk:eth0], vlan: 10 }
  - { between: [pier:2, gate:eth0], vlan: 10 }
  - { between: [pier:3, shop:eth0], vlan: 20 }
  - { between: [core:4, till:eth0], vlan: 20 }
`,
  "plan.yaml",
);

test("ages-out: given a neighbour that hears another VLAN's queries alone, then these clear no place on the way of the planned VLAN's", () => {
  const board = { stream: "board", group: GROUPS[4], source: "tower", listeners: ["kiosk", "hall"], packets: 3_000 };
  const run = simulateRun(VLANS, [board], [], seededRandom(3));
  const in10 = stretch(4, -58_000, 30_000);
  const in20 = { ...stretch(4, -59_000, 29_000), address: "192.0.2.20" };
  const aged: RunObservations = {
    ...run,
    timers: TIMERS,
    listeners: run.listeners.map((one) =>
      one.host === "kiosk" ? { ...one, lost: [[1_100, 2_999]], receivedPackets: 1_100 } : one,
    ),
    membership: reports(4, ["kiosk", "hall"], 500),
    queriers: [
      hears("kiosk", stretch(4, -58_000, -2_000)),
      hears("hall", in10),
      hears("gate", in20),
      hears("shop", in20),
      hears("till", in20),
    ],
  };
  const finding = locate(VLANS, aged).findings.find(({ kind }) => kind === "ages-out");
  expect(finding?.suspects).toContain("core:1>pier:24 vlan 10");
  // Where the neighbour hears the planned VLAN's, the way to it is good.
  const asPlanned = aged.queriers.map((one) => (one.host === "gate" ? hears("gate", in10) : one));
  const beside = locate(VLANS, { ...aged, queriers: asPlanned }).findings.find(({ kind }) => kind === "ages-out");
  expect(beside?.suspects).not.toContain("core:1>pier:24 vlan 10");
});
