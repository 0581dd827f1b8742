import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";
import {
  DESKS,
  expectDeafRouterNamed,
  expectReportsWayNamed,
  hopsBetween,
  only,
  ROUTED_DEMO,
  streamNames,
} from "./support/routed-demo.ts";

/**
 * The demo's VLANs and routers with PIM sparse mode (RFC 7761) between the routers, by the routing daemons of Debian's
 * package frr, which bootstrap brings for tests. It has no daemon for PIM over IPv6: IPv6 groups go by our own process.
 * Router A is the rendezvous point. A router remembers a source for minutes (210 s, RFC 7761 section 4.11), so each run
 * has groups of its own: `n` is a part of them.
 */
const WARM_UP_S = 3;

/**
 * Any-source joins of everyone, and (S,G) joins beyond both routers. Not in the source's own VLAN: this daemon (8.4.4)
 * sends what is joined with its source back out of the interface at which it came in, where members are; seen as hop
 * counts that are one too high.
 */
const scenario = (n: number): string => `scenario: pim
streams:
  - { name: tower-4, source: tower, group: 239.195.${n}.1, rate: 400 kbit/s, ttl: 8 }
  - { name: tower-s, source: tower, group: 232.195.${n}.1, ssm: true, rate: 400 kbit/s, ttl: 8 }
  - { name: tower-6, source: tower, group: "ff15::8000:${n}", rate: 400 kbit/s, ttl: 8 }
  - { name: till-4, source: till-1, group: 239.195.${n}.2, rate: 400 kbit/s, ttl: 8 }
  - { name: desk-4, source: desk-2, group: 239.195.${n}.3, rate: 400 kbit/s, ttl: 8 }
timeline:
  - { at: 0s, join: [tower-4, tower-6, till-4, desk-4], agents: all }
  - { at: 0s, join: tower-s, agents: [${DESKS.join(", ")}] }
  - { at: 2s, emit: all }
  - { at: ${2 + WARM_UP_S + 3}s, stop: all }
expect: { loss: 0 %, warm-up: ${WARM_UP_S} s }
`;

/** Two sources in VLAN 10 to the same groups, so that a source and a group can be told apart; everyone joins everything. */
const twoTowers = (n: number): string => `scenario: two towers
streams:
  - { name: tower-4, source: tower, group: 239.195.${n}.1, rate: 400 kbit/s, ttl: 8 }
  - { name: tower-6, source: tower, group: "ff15::8000:${n}", rate: 400 kbit/s, ttl: 8 }
  - { name: board-4, source: board-1, group: 239.195.${n}.1, port: 48622, rate: 400 kbit/s, ttl: 8 }
  - { name: board-6, source: board-1, group: "ff15::8000:${n}", port: 48622, rate: 400 kbit/s, ttl: 8 }
  - { name: desk-4, source: desk-2, group: 239.195.${n}.3, rate: 400 kbit/s, ttl: 8 }
timeline:
  - { at: 0s, join: all, agents: all }
  - { at: 1s, emit: all }
  - { at: ${1 + WARM_UP_S + 2}s, stop: all }
expect: { loss: 0 %, warm-up: ${WARM_UP_S} s }
`;

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(ROUTED_DEMO, { routing: "pim-sparse" });
});
afterAll(() => bench?.[Symbol.asyncDispose]());

const titles = (report: RunReport): string[] => report.findings.map(({ kind, title }) => `${kind}: ${title}`);
const SOURCES: Readonly<Record<string, string>> = {
  "tower-4": "tower",
  "tower-s": "tower",
  "tower-6": "tower",
  "till-4": "till-1",
  "desk-4": "desk-2",
};

test("PIM: given no fault, then everyone gets everything after the warm-up, over the routers that the plan has", async () => {
  const report = await bench.run(scenario(31));
  expect(titles(report)).toEqual([]);
  expect(report.verdict).toBe("pass");
  expect(report.receipts).toHaveLength(4 * 11 + DESKS.length);
  for (const { stream, listener, lost, hops, warmUpLost } of report.receipts) {
    // VLANs 10 and 20, 20 and 30 have a router between them, 10 and 30 two.
    expect([stream, listener, lost, hops]).toEqual([stream, listener, 0, hopsBetween(SOURCES[stream] ?? "", listener)]);
    expect(warmUpLost).toBeGreaterThanOrEqual(0);
  }
  expect(report.expectations.find(({ what }) => what === "loss")?.detail).toMatch(
    /Not counted: \d+ lost in the first 3 s of a stream or a stay/,
  );
  const { stdout } = await bench.site.exec("router-b", ["cat", "/proc/net/pim6_mr_vif", "/proc/net/ip_mr_vif"]);
  expect(stdout).toContain("pimreg"); // the daemon's register interface: the kernel says who routes
});

test("PIM: given joins while the stream flows, then the join delay across one router and two is reported", async () => {
  const report = await bench.run(`scenario: joins
streams:
  - { name: board, source: tower, group: 239.195.32.1, rate: 1 Mbit/s, ttl: 8 }
timeline:
  - { at: 0s, emit: board }
  - { at: 3s, join: board, agents: [desk-2] }
  - { at: 5s, join: board, agents: [kiosk-1] }
  - { at: 8s, stop: board }
expect: { join-delay: 5 s }
`);
  expect(report.receipts.map(({ listener, hops }) => [listener, hops])).toEqual([
    ["desk-2", 2],
    ["kiosk-1", 1],
  ]);
  for (const { joinDelays } of report.receipts) {
    expect(joinDelays?.trials).toBe(1);
    expect(joinDelays?.medianMs).toBeGreaterThan(0);
  }
  expect(report.expectations).toMatchObject([{ what: "join delay", met: true }]);
});

test.each(["router-a", "router-b"])(
  "PIM: given no rendezvous point known at %s, then joins without a source fail and it is named; (S,G) and IPv6 pass",
  async (router) => {
    const n = router === "router-a" ? 33 : 34;
    const report = await bench.run(scenario(n), { faults: [`no-rendezvous-point, on: ${router}`] });
    expect(titles(report)).toHaveLength(1);
    const [finding] = report.findings;
    expect(finding?.kind).toBe("rendezvous-point");
    expect(finding?.suspects[0]).toBe(router);
    expect(finding?.suspects.every((suspect) => suspect.startsWith("router-"))).toBe(true);
    expect(finding?.streams.toSorted()).toEqual(["desk-4", "till-4", "tower-4"]);
    expect(finding?.title).toContain("no rendezvous point");
    const whole = report.receipts.filter(({ stream }) => stream === "tower-s" || stream === "tower-6");
    expect(whole.map(({ lost }) => lost)).toEqual(whole.map(() => 0));
  },
);

test("PIM: given one group that a router does not forward, a VLAN missing, an access list, each alone, then its place is named", async () => {
  const group = await bench.run(scenario(35), { faults: ["not-forwarding, on: router-a, group: 239.195.35.1"] });
  expect(group.findings.map(({ kind, streams }) => [kind, streams])).toEqual([["group-specific", ["tower-4"]]]);
  expect(group.findings[0]?.suspects).toContain("router-a");
  // Router-b has the higher address in VLAN 20 and answers for it (RFC 7761, section 4.3.2): what is missing may be its doing.
  for (const suspect of group.findings[0]?.suspects ?? [])
    expect(suspect).toMatch(/router-a|^core vlan 20$|^router-b$/);

  const vlan = await bench.run(scenario(36), { faults: ['vlan-missing, on: "core:1>pier-east:24", vlan: 20'] });
  expect(vlan.findings.map(({ kind }) => kind)).toEqual(["stops"]);
  expect(vlan.findings[0]?.suspects[0]).toBe("core:1>pier-east:24 vlan 20");
  expect(vlan.findings[0]?.title).toContain("between core:1 and pier-east:24 in VLAN 20");

  const list = await bench.run(scenario(37), { faults: ['access-list, on: "core:20>router-a:lan10"'] });
  expect(list.findings.map(({ kind }) => kind)).toEqual(["stops"]);
  expect(list.findings[0]?.suspects[0]).toBe("core:20>router-a:lan10");
  expect(list.findings[0]?.streams.toSorted()).toEqual(["tower-4", "tower-6", "tower-s"]);
});

test("PIM: given a router that hears no reports in one VLAN, then its links there are named, and nothing else", async () => {
  const report = await bench.run(twoTowers(38), { faults: ['drop-reports, on: "hall:20>router-b:lan", vlan: 30'] });
  expectDeafRouterNamed(report, ["board-4", "board-6", "tower-4", "tower-6"]);
});

test("PIM: given a VLAN cut on the way back of the reports, then that link and VLAN are named, and no other VLAN", async () => {
  const report = await bench.run(twoTowers(39), { faults: ['drop, on: "pier-east:24>core:1", vlan: 20'] });
  expectReportsWayNamed(report);
});

/**
 * At the first router, since what is joined without its source comes to further ones by the tree of the rendezvous point,
 * whatever their route to the source (RFC 7761, section 4.2).
 */
test("PIM: given a route to one source through another interface, then the router is named, for that source alone", async () => {
  const report = await bench.run(twoTowers(40), { faults: ["reverse-path, on: router-a, source: tower"] });
  const finding = only(report);
  // Router B has the higher address in VLAN 20 and answers for the members there, so that its own route would do the same.
  expect([finding.kind, finding.suspects]).toEqual(["source-specific", ["router-a", "router-b"]]);
  expect(streamNames(finding)).toEqual(["tower-4", "tower-6"]);
});
