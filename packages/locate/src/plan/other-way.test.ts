import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { expect, test } from "vitest";
import { observeRouted } from "../../../../tests/simulation/routed/routed-scene.ts";
import { RoutedWorld } from "../../../../tests/simulation/routed/routed-world.ts";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import type { Conclusion } from "../conclusion.ts";
import { locate } from "../locate.ts";

/**
 * Three VLANs in a ring of routers. What must come out follows from the drawing: from VLAN 1 to VLAN 2 packets pass ra
 * alone, or rc and rb; every router takes 1 from the TTL (RFC 1812, section 5.3.1).
 */
const plan = (costOfRa: number, addresses = ["", "", ""]): SiteGraph =>
  loadSitePlan(
    `site: Ring
vlans: { 1: { ipv4: 10.78.1.0/24 }, 2: { ipv4: 10.78.2.0/24 }, 3: { ipv4: 10.78.3.0/24 } }
nodes:
  core: { kind: switch, querier: true }
  ra: { kind: router${addresses[0]} }
  rb: { kind: router${addresses[1]} }
  rc: { kind: router${addresses[2]} }
  a1: { kind: host }
  a2: { kind: host }
  b1: { kind: host }
  b2: { kind: host }
  c1: { kind: host }
links:
  - { between: [core:1, a1:eth0], vlan: 1 }
  - { between: [core:2, a2:eth0], vlan: 1 }
  - { between: [core:3, b1:eth0], vlan: 2 }
  - { between: [core:4, b2:eth0], vlan: 2 }
  - { between: [core:5, c1:eth0], vlan: 3 }
  - { between: [core:11, ra:lan], vlan: [1, 2], cost: ${costOfRa} }
  - { between: [core:12, rb:lan], vlan: [2, 3], cost: 1 }
  - { between: [core:13, rc:lan], vlan: [1, 3], cost: 1 }
`,
    "ring.yaml",
  );
/** Router A has the highest address in VLAN 2. */
const ADDRESSED = [
  ", addresses: [10.78.1.9, 10.78.2.9]",
  ", addresses: [10.78.2.4, 10.78.3.4]",
  ", addresses: [10.78.1.5, 10.78.3.5]",
];
const DETOUR_COST = 9;

function conclude(planned: SiteGraph, real: SiteGraph, dead: readonly string[] = []): Conclusion {
  const random = seededRandom(3);
  const streams = [
    { stream: "board", group: "239.195.7.1", source: "a1", listeners: ["a2", "b1", "b2", "c1"], bystanders: [] },
  ];
  const world = new RoutedWorld(real, "static", random);
  return locate(planned, observeRouted(world, streams, { dead: new Set(dead) }, random));
}

test("plan-mismatch: given packets that pass two routers where the plan has one, then they come another way, and it is said which would fit", () => {
  const { findings } = conclude(plan(1, ADDRESSED), plan(DETOUR_COST, ADDRESSED));
  expect(findings.map(({ kind, suspects }) => [kind, suspects])).toEqual([["plan-mismatch", []]]);
  const [{ title, evidence } = { title: "", evidence: [] }] = findings;
  expect(title).toContain("b1 and b2 another way than the plan's");
  expect(title).toContain("2 routers instead of 1");
  expect(evidence[0]).toContain("rc and rb");
});

test("plan-mismatch: given a stop on the other way, then its place is named, no surer than the way, and nothing on the plan's way", () => {
  const { findings } = conclude(plan(1, ADDRESSED), plan(DETOUR_COST, ADDRESSED), ["core:4>b2:eth0"]);
  expect(findings.map(({ kind }) => kind).toSorted()).toEqual(["plan-mismatch", "stops"]);
  const stop = findings.find(({ kind }) => kind === "stops");
  expect(stop?.suspects[0]).toBe("core:4>b2:eth0");
  expect(stop?.confidence).toBeLessThanOrEqual(0.8);
});

test("other way: given no addresses in the plan, then the router that may answer for the subnet explains it: a remark, no finding", () => {
  const { findings, remarks } = conclude(plan(1), plan(DETOUR_COST));
  expect(findings).toEqual([]);
  expect(remarks.join(" ")).toContain("another way than by the cheapest routes of the plan");
});

test("other way: given the plan's own way, then nothing is found; given ways with as many routers, then it is said that nothing tells", () => {
  expect(conclude(plan(1, ADDRESSED), plan(1, ADDRESSED))).toMatchObject({ findings: [], remarks: [] });
  const twice = loadSitePlan(
    `site: Pair
vlans: { 1: {}, 2: {} }
nodes: { core: { kind: switch, querier: true }, ra: { kind: router }, rb: { kind: router }, a1: { kind: host }, a2: { kind: host }, b1: { kind: host }, b2: { kind: host }, c1: { kind: host } }
links:
  - { between: [core:1, a1:eth0], vlan: 1 }
  - { between: [core:2, a2:eth0], vlan: 1 }
  - { between: [core:3, b1:eth0], vlan: 2 }
  - { between: [core:4, b2:eth0], vlan: 2 }
  - { between: [core:5, c1:eth0], vlan: 1 }
  - { between: [core:11, ra:lan], vlan: [1, 2] }
  - { between: [core:12, rb:lan], vlan: [1, 2], cost: 5 }
`,
    "pair.yaml",
  );
  const { findings, remarks } = conclude(twice, twice);
  expect(findings).toEqual([]);
  expect(remarks).toHaveLength(1);
  expect(remarks[0]).toContain("from a1 to b1 and b2");
});

test("untold way: given nothing comes into a subnet that two ways lead to, then the stop there is no surer than the way, and both are said", () => {
  const cut = conclude(plan(1, ADDRESSED), plan(1, ADDRESSED), ["ra:lan>core:11 vlan 2"]);
  expect(cut.findings.map(({ kind }) => kind)).toEqual(["stops"]);
  const [{ suspects, confidence, evidence } = { suspects: [], confidence: 1, evidence: [] }] = cut.findings;
  expect(suspects).toContain("ra:lan>core:11 vlan 2");
  expect(confidence).toBeLessThanOrEqual(0.85);
  expect(evidence.join(" ")).toContain(
    "No packet tells by which routers a1 reaches b1: there is a way by ra, and one by rc and rb.",
  );
});

test("untold way: given a neighbour in the subnet whose packets tell the way, then nothing of it is said of a stop behind it", () => {
  const { findings } = conclude(plan(1, ADDRESSED), plan(1, ADDRESSED), ["core:3>b1:eth0"]);
  expect(findings.map(({ suspects }) => suspects[0])).toEqual(["core:3>b1:eth0"]);
  expect(findings.flatMap(({ evidence }) => evidence).join(" ")).not.toContain("No packet tells by which routers");
});
