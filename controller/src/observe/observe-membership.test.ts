import { type MembershipTimers, STANDARD_TIMERS } from "@dyetrace/locate";
import { loadSitePlan } from "@dyetrace/site";
import { type IntervalReport, loadScenario, type MembershipEvent, type MembershipQuery } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { accountOfRun, type RunAccount } from "../account/run-account.ts";
import type { AgentEvidence } from "../account/run-evidence.ts";
import { querierNotes, reportQueriers } from "../conclude/report-queriers.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import { observeRun } from "./observe.ts";

const GRAPH = loadSitePlan(
  `
site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`,
  "plan.yaml",
);
const RUN = compileScenario(
  "00000000000000aa",
  loadScenario(
    `
scenario: queriers
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B } ]
timeline: [ { at: 0s, join: board }, { at: 1s, emit: board }, { at: 30s, stop: board } ]
`,
    "s.yaml",
  ).scenario,
  GRAPH,
  new Map(),
);

/** A general query as the messages of RFC 3376, section 4.1, and RFC 2236, section 2, carry it. */
function query(atS: number, said: Partial<MembershipQuery> = {}): MembershipEvent {
  return {
    atNs: atS * 1e9,
    direction: "in",
    message: {
      kind: "query",
      protocol: said.family === 6 ? "mld" : "igmp",
      family: 4,
      sourceMac: "02:00:5e:10:00:01",
      destinationMac: "01:00:5e:00:00:01",
      vlanId: null,
      source: said.family === 6 ? "fe80::1" : "192.0.2.1",
      destination: "224.0.0.1",
      ttlHops: 1,
      hasRouterAlert: true,
      version: 3,
      checksum: "good",
      group: null,
      sources: [],
      maxResponseMs: 1_000,
      suppressesRouters: false,
      robustness: 2,
      queryIntervalMs: 4_000,
      hasExtension: false,
      ...said,
    },
  };
}
/** IGMPv1 and IGMPv2 queries tell neither interval nor robustness. */
const OLD = { version: 1, robustness: null, queryIntervalMs: null, suppressesRouters: null } as const;

const every = (fromS: number, toS: number, said: Partial<MembershipQuery> = {}): MembershipEvent[] =>
  Array.from({ length: Math.floor((toS - fromS) / 4) + 1 }, (_, i) => query(fromS + 4 * i, said));

function accountOf(membership: readonly MembershipEvent[], unlistedMembership = 0): RunAccount {
  const agent = (name: string, heard: readonly MembershipEvent[]): AgentEvidence => ({
    agent: name,
    reports: [
      { fromNs: 0, toNs: 30e9, listeners: [], senders: [], host: {}, totals: null } as unknown as IntervalReport,
    ],
    watch: [{ sinceNs: -900e9, streams: [], membership: heard, unlistedMembership, dropped: 0 }],
    final: null,
    clock: null,
    lostAtNs: null,
    troubles: [],
  });
  return accountOfRun(RUN, {
    startedAt: new Date(0),
    endedAt: new Date(30_000),
    agents: new Map([["kiosk", agent("kiosk", membership)]]),
    absent: [],
    isAborted: false,
    stopReason: null,
    isComplete: true,
  });
}
const kiosk = (membership: readonly MembershipEvent[], unlisted = 0) => {
  const { queriers, timers, mldTimers } = observeRun(accountOf(membership, unlisted), GRAPH);
  const own = queriers.find(({ host }) => host === "kiosk");
  if (own === undefined) throw new Error("kiosk takes part");
  return { ...own, timers: timers as MembershipTimers, mldTimers };
};

test("observeRun: given an IGMPv1 querier that ended before the run, then its interval is learnt from all its queries and none counts in the run", () => {
  const { queriers, timers, watchedFromMs, watchedToMs } = kiosk(every(-80, -40, OLD));
  expect(queriers).toEqual([
    {
      address: "192.0.2.1",
      family: 4,
      version: 1,
      queries: 11,
      firstMs: -80_000,
      lastMs: -40_000,
      intervalMs: 4_000,
      mac: "02:00:5e:10:00:01",
      maxResponseMs: 1_000,
    },
  ]);
  expect(timers.queryIntervalMs).toBe(4_000);
  // The agent has watched for longer, but keeps 300 s of queries for a run.
  expect([watchedFromMs, watchedToMs]).toEqual([-300_000, 30_000]);
});

test("observeRun: given a querier that falls silent and comes back, then it has two stretches", () => {
  const { queriers } = kiosk([...every(-10, 2, OLD), ...every(26, 30, OLD)]);
  expect(queriers.map(({ firstMs, lastMs }) => [firstMs, lastMs])).toEqual([
    [-10_000, 2_000],
    [26_000, 30_000],
  ]);
});

test("observeRun: given IGMP and MLD queries, then each family has its own timers", () => {
  const mld = { family: 6, version: 2, queryIntervalMs: 20_000, maxResponseMs: 5_000 } as const;
  const { timers, mldTimers } = kiosk([...every(0, 28), query(5, mld), query(25, mld)]);
  expect(timers).toMatchObject({ queryIntervalMs: 4_000, queryResponseMs: 1_000 });
  expect(mldTimers).toMatchObject({ queryIntervalMs: 20_000, queryResponseMs: 5_000 });
  expect(kiosk(every(0, 28)).mldTimers).toEqual(STANDARD_TIMERS);
});

test("observeRun: given queries with a VLAN tag, and MLD queries that hosts ignore (RFC 3810, section 5.1.14), then they are none", () => {
  const tagged = every(0, 28, { vlanId: 20 });
  const fromNowhere = every(0, 28, { family: 6, version: 2, source: "::" });
  expect(kiosk([...tagged, ...fromNowhere]).queriers).toEqual([]);
});

test("observeRun: given more messages than reports hold, then no silence is known after the last that they hold", () => {
  expect(kiosk(every(0, 12), 40).watchedToMs).toBe(12_000);
});

test("observeRun: given as many queries from before the run as an agent keeps, then nothing is known of the time before them", () => {
  expect(kiosk(Array.from({ length: 128 }, (_, i) => query(-128 + i))).watchedFromMs).toBe(-128_000);
});

test("reportQueriers: given one that takes over before the run, then times are told as they are, and who was long gone is left out", () => {
  const queriers = reportQueriers(accountOf([...every(-80, -40), ...every(-6, 26, { source: "192.0.2.0" })]));
  expect(queriers).toMatchObject([
    { address: "192.0.2.0", firstMs: -6_000, lastMs: 26_000, queries: 9, isElected: true },
  ]);
  expect(querierNotes(queriers)).toEqual([]);
  const both = reportQueriers(accountOf([...every(-6, 2), ...every(4, 28, { source: "192.0.2.0" })]));
  expect(querierNotes(both)).toEqual([
    "2 IPv4 queriers were heard: 192.0.2.1 in IGMPv3, first query 6 s before the run began, last 2 s into the run; 192.0.2.0 in IGMPv3 (elected), first query 4 s into the run, last 28 s into the run. The lowest address stays (RFC 3376, section 6.6.2; RFC 3810, section 7.6.2).",
  ]);
});
