import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";

/** One switch for each of two VLANs behind a core that routes nothing; VLAN 10 has four hosts, VLAN 20 two. */
const SITE = loadSitePlan(
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
const IN_10 = ["tower", "kiosk", "hall", "gate"];
const IN_20 = ["shop", "till"];
const OF_10 = "192.0.2.10";
const OF_20 = "192.0.2.20";

/** Every 4 s. */
const asks = (address: string, firstMs: number, lastMs: number, more: Partial<QuerierHeard> = {}): QuerierHeard => ({
  address,
  family: 4,
  version: 3,
  queries: 1 + Math.round((lastMs - firstMs) / 4_000),
  firstMs,
  lastMs,
  intervalMs: 4_000,
  maxResponseMs: 1_000,
  robustness: 2,
  ...more,
});
const at = (host: string, ...queriers: QuerierHeard[]): QuerierObservation => ({
  host,
  canHear: true,
  watchedFromMs: -60_000,
  watchedToMs: 30_000,
  queriers,
});
const planned10 = asks(OF_10, -58_000, 30_000);
const planned20 = asks(OF_20, -59_000, 29_000);

function runOf(queriers: readonly QuerierObservation[]): RunObservations {
  const board = {
    stream: "board",
    group: "233.252.0.1",
    source: "tower",
    listeners: ["kiosk", "hall"],
    bystanders: ["gate"],
    packets: 3_000,
  };
  return { ...simulateRun(SITE, [board], [], seededRandom(3)), queriers };
}
const findingsIn = (queriers: readonly QuerierObservation[]): readonly Finding[] =>
  locate(SITE, runOf(queriers)).findings;
const in20 = IN_20.map((host) => at(host, planned20));

test("wrong-querier: given each VLAN's own querier, then nothing is found", () => {
  expect(findingsIn([...IN_10.map((host) => at(host, planned10)), ...in20])).toEqual([]);
});

// RFC 3376, section 6.6.2: the lower address, compared as a number, is the querier; 192.0.2.9 is lower than 192.0.2.10.
for (const [what, before, after] of [
  ["a lower address", OF_10, "192.0.2.9"],
  ["one with an address after one without", "0.0.0.0", "192.0.2.99"],
] as const) {
  test(`wrong-querier: given ${what} that begins to ask in mid-run, then it is said with its times`, () => {
    const queriers = IN_10.map((host) => at(host, asks(before, -58_000, 10_000), asks(after, 12_000, 28_000)));
    const [finding, ...more] = findingsIn([...queriers, ...in20]);
    expect(more).toEqual([]);
    expect(finding).toMatchObject({ kind: "wrong-querier", suspects: [] });
    expect(finding?.title).toContain(`A second IGMP querier in VLAN 10, ${after}, took over from ${before}`);
    expect(finding?.title).toContain("at 12.0 s");
    expect(finding?.evidence.join(" ")).toContain(`${before} asked every 4.0 s until then, last at 10.0 s`);
    expect(finding?.evidence.join(" ")).toContain("It sits on none of tower, kiosk, hall and gate");
  });
}

test("wrong-querier: given one query of a lower address and then silence, then that one was enough; one from 0.0.0.0 is a switch's by right", () => {
  const stray = (address: string): readonly QuerierObservation[] => [
    ...IN_10.map((host) => at(host, asks(OF_10, -58_000, 10_000), asks(address, 11_000, 11_000))),
    ...in20,
  ];
  expect(findingsIn(stray("192.0.2.9")).map(({ kind }) => kind)).toEqual(["no-querier", "wrong-querier"]);
  // RFC 4541, section 2.1.1, rule 4: after a change of topology, and the querier goes on.
  const goesOn = IN_10.map((host) => at(host, planned10, asks("0.0.0.0", 11_000, 11_000)));
  expect(findingsIn([...goesOn, ...in20])).toEqual([]);
});

test("wrong-querier: given a standby with a higher address that asks once the querier is gone, then nobody is wrong", () => {
  const queriers = IN_10.map((host) => at(host, asks(OF_10, -58_000, 2_000), asks("192.0.2.11", 10_500, 30_000)));
  expect(findingsIn([...queriers, ...in20])).toEqual([]);
  // Nor with a lower one, as long after it.
  const lower = IN_10.map((host) => at(host, asks(OF_10, -58_000, 2_000), asks("192.0.2.9", 10_500, 30_000)));
  expect(findingsIn([...lower, ...in20])).toEqual([]);
});

test("wrong-querier: given queries that go out of a host with an agent, then that host is named", () => {
  const rogue = asks("192.0.2.9", 12_000, 28_000);
  const queriers = IN_10.map((host) =>
    at(host, asks(OF_10, -58_000, 10_000), host === "gate" ? { ...rogue, isOwn: true } : rogue),
  );
  const [finding, ...more] = findingsIn([...queriers, ...in20]);
  expect(more).toEqual([]);
  expect(finding).toMatchObject({ kind: "wrong-querier", suspects: ["gate"] });
  expect(finding?.title).toContain("gate asks as an IGMP querier in VLAN 10");
});

/** A querier with a lower address asks from 12 s on, and gate sees the stream of 100 packets/s meanwhile. */
function sightingAt(firstMs: number, lastMs: number): readonly Finding[] {
  const queriers = IN_10.map((host) => at(host, asks(OF_10, -58_000, 10_000), asks("192.0.2.9", 12_000, 28_000)));
  const run = runOf([...queriers, ...in20]);
  const [first, last] = [Math.round(firstMs / 10), Math.round(lastMs / 10)];
  const seen = { frames: last - first + 1, ranges: [[first, last]] as const, firstMs, lastMs };
  const bystanders = run.bystanders.map((one) => (one.host === "gate" ? { ...one, ...seen } : one));
  return locate(SITE, { ...run, bystanders }).findings;
}

test("wrong-querier: given a bystander that sees a stream from the first query on, then its port is a suspect, and nothing leaks", () => {
  const [finding, ...more] = sightingAt(12_100, 29_990);
  expect(more).toEqual([]);
  expect(finding).toMatchObject({ kind: "wrong-querier", streams: ["board"], suspects: ["pier:2>gate:eth0"] });
  expect(finding?.evidence.join(" ")).toContain("behind the same port, pier:2>gate:eth0");
});

test("wrong-querier: given a flood for the response time of the new querier, then no place follows from it, and nothing leaks; one that begins elsewhen is a leak", () => {
  // In its first response time a switch does not know all members yet (RFC 3376, section 8.3).
  expect(sightingAt(12_050, 13_200)).toMatchObject([{ kind: "wrong-querier", suspects: [] }]);
  expect(sightingAt(16_000, 29_990).map(({ kind }) => kind)).toEqual(["leaks", "wrong-querier"]);
});

test("wrong-querier: given another address than that of the planned router, then both are told", () => {
  const plan = `
site: Quillfen
vlans: { 10: { ipv4: 192.0.2.0/24, querier: rt }, 20: { ipv4: 198.51.100.0/24 } }
nodes:
  sw: { kind: switch }
  rt: { kind: router, addresses: [192.0.2.10, 198.51.100.1] }
  tower: { kind: host }
  kiosk: { kind: host }
  shop: { kind: host }
links:
  - { between: [sw:1, rt:lan10], vlan: 10 }
  - { between: [sw:4, rt:lan20], vlan: 20 }
  - { between: [sw:2, tower:eth0], vlan: 10 }
  - { between: [sw:3, kiosk:eth0], vlan: 10 }
  - { between: [sw:5, shop:eth0], vlan: 20 }
`;
  const site = loadSitePlan(plan, "plan.yaml");
  const board = { stream: "board", group: "233.252.0.1", source: "tower", listeners: ["kiosk"], packets: 3_000 };
  const kindsFor = (address: string): string[] => {
    const queriers = ["tower", "kiosk"].map((host) => at(host, asks(address, -58_000, 30_000)));
    return locate(site, { ...simulateRun(site, [board], [], seededRandom(3)), queriers }).findings.map(
      ({ title }) => title,
    );
  };
  expect(kindsFor("192.0.2.10")).toEqual([]);
  expect(kindsFor("192.0.2.9")).toEqual([
    "Another IGMP querier in VLAN 10 than planned: 192.0.2.9 asks, and rt has 192.0.2.10",
  ]);
});

test.each([
  ["its address", "addresses: [192.0.2.5]", "192.0.2.5", 0],
  ["no address", "", "192.0.2.5", 0],
  ["another address", "addresses: [192.0.2.6]", "192.0.2.5", 1],
])(
  "wrong-querier: given that a router with %s in the plan may be the one that wins, then nobody is accused whom the plan has",
  (_, own, address, accused) => {
    const plan = `
site: Quillfen
vlans: { 10: { ipv4: 192.0.2.0/24, querier: sw } }
nodes:
  sw: { kind: switch }
  rt: { kind: router${own === "" ? "" : `, ${own}`} }
  tower: { kind: host }
  kiosk: { kind: host }
links:
  - { between: [sw:1, rt:lan], vlan: 10 }
  - { between: [sw:2, tower:eth0], vlan: 10 }
  - { between: [sw:3, kiosk:eth0], vlan: 10 }
`;
    const site = loadSitePlan(plan, "plan.yaml");
    const board = { stream: "board", group: "233.252.0.1", source: "tower", listeners: ["kiosk"], packets: 3_000 };
    // As after a link that was cut: the switch has asked meanwhile, and ends as it hears the lower address again.
    const queriers = ["tower", "kiosk"].map((host) =>
      at(host, asks("192.0.2.10", -58_000, 2_000), asks(address, 3_000, 30_000)),
    );
    const { findings } = locate(site, { ...simulateRun(site, [board], [], seededRandom(3)), queriers });
    expect(findings.filter(({ kind }) => kind === "wrong-querier")).toHaveLength(accused);
  },
);

test("plan-mismatch: given a host that hears the other VLAN's querier alone, then it sits there, and there are no two queriers", () => {
  const queriers = [...["tower", "hall", "gate"].map((host) => at(host, planned10)), at("kiosk", planned20), ...in20];
  const [finding, ...more] = findingsIn(queriers);
  expect(more).toEqual([]);
  expect(finding).toMatchObject({
    kind: "plan-mismatch",
    suspects: ["kiosk", "pier:1>kiosk:eth0"],
    misplaced: [{ host: "kiosk", plannedAt: "pier vlan 10", seemsAt: null }],
  });
  expect(finding?.title).toContain("kiosk seems to sit in VLAN 20, not in VLAN 10");
});

test("plan-mismatch: given one switch that asks in both VLANs from the same link-local address, then that address tells neither VLAN", () => {
  const mld = asks("fe80::1", -57_000, 29_500, { family: 6, version: 2 });
  const queriers = [
    ...["tower", "hall", "gate"].map((host) => at(host, planned10, mld)),
    at("kiosk", planned20, mld),
    ...IN_20.map((host) => at(host, planned20, mld)),
  ];
  expect(findingsIn(queriers).map(({ kind, misplaced }) => [kind, misplaced?.[0]?.host])).toEqual([
    ["plan-mismatch", "kiosk"],
  ]);
});

test("no-querier: given a host of another VLAN among those that heard the querier fall silent, then that VLAN's own querier is the suspect", () => {
  const plan = `
site: Quillfen
vlans: { 10: { querier: core }, 20: { querier: pier } }
nodes:
  core: { kind: switch }
  pier: { kind: switch }
  tower: { kind: host }
  kiosk: { kind: host }
  shop: { kind: host }
  till: { kind: host }
links:
  - { between: [core:1, pier:24], vlan: [10, 20] }
  - { between: [core:2, tower:eth0], vlan: 10 }
  - { between: [pier:1, kiosk:eth0], vlan: 10 }
  - { between: [pier:3, shop:eth0], vlan: 20 }
  - { between: [core:4, till:eth0], vlan: 20 }
`;
  const site = loadSitePlan(plan, "plan.yaml");
  const board = { stream: "board", group: "233.252.0.1", source: "tower", listeners: [], packets: 3_000 };
  const silent20 = asks(OF_20, -59_000, 1_000);
  const queriers = [...["kiosk", "shop", "till"].map((host) => at(host, silent20)), at("tower", planned10)];
  const { findings } = locate(site, { ...simulateRun(site, [board], [], seededRandom(3)), queriers });
  expect(findings.find(({ kind }) => kind === "no-querier")?.suspects).toEqual(["pier vlan 20"]);
});

test("two-queriers: given a querier of no other VLAN at one host alone, then it is still two queriers in one VLAN", () => {
  const queriers = [
    ...["tower", "hall"].map((host) => at(host, planned10)),
    ...["kiosk", "gate"].map((host) => at(host, asks("192.0.2.77", -57_000, 29_000))),
    ...in20,
  ];
  const [finding] = findingsIn(queriers);
  expect(finding).toMatchObject({ kind: "two-queriers" });
  expect(finding?.suspects).toContain("core:1>pier:24 vlan 10");
});
