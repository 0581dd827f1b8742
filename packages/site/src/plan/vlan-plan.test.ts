import { readFileSync } from "node:fs";
import { describeFault, Fault } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { segmentLoads } from "../loads/segment-loads.ts";
import type { SiteGraph } from "../model/site-model.ts";
import { unfoldVlans } from "../vlans/unfold-vlans.ts";
import { byDesignReach } from "../ways/by-design-reach.ts";
import { queriersOf } from "../ways/querier-of.ts";
import { pathBetween, pathsBetween, routerHops } from "../ways/site-path.ts";
import { sourceWays } from "../ways/source-ways.ts";
import { loadSitePlan } from "./load-site-plan.ts";

const DEMO = readFileSync(new URL("../../../practice/demo/quillfen-vlans.yaml", import.meta.url), "utf8");
const site = loadSitePlan(DEMO, "quillfen-vlans.yaml");

// Expected ways, counts and loads: by hand from the drawing at the head of the plan.
test("VLAN plan: given a host in the same VLAN, then the way stays in it, and no router is passed", () => {
  const path = pathBetween(site, "tower", "board-2");
  expect(path?.nodes).toEqual(["tower", "core", "pier-west", "board-2"]);
  expect(path && routerHops(site, path)).toBe(0);
});

test("VLAN plan: given a host two VLANs away, then the way crosses both routers, and the same switch twice", () => {
  const path = pathBetween(site, "tower", "desk-2");
  expect(path?.nodes).toEqual(["tower", "core", "router-a", "core", "hall", "router-b", "hall", "annex", "desk-2"]);
  expect(path && routerHops(site, path)).toBe(2);
  expect(path?.segments.map(({ id }) => id)).toContain("router-b:lan>hall:20");
});

test("VLAN plan: given the plan unfolded, then trunks and switches stand once for each VLAN, and spares not at all", () => {
  const unfolded = unfoldVlans(site);
  expect([...unfolded.nodes.keys()].filter((name) => name.startsWith("hall"))).toEqual([
    "hall vlan 10",
    "hall vlan 20",
    "hall vlan 30",
  ]);
  expect(unfolded.nodes.has("annex")).toBe(true); // one VLAN only
  expect(unfolded.segments.has("core:1>pier-east:24 vlan 20")).toBe(true);
  expect(unfolded.segments.has("hall:20>router-b:lan vlan 30")).toBe(true);
  expect(unfolded.segments.has("core:20>router-a:lan10")).toBe(true);
  expect([...unfolded.segments.keys()].some((id) => id.includes("pier-west:23"))).toBe(false);
});

test("VLAN plan: given a declared querier for each VLAN, then each is queried by its own", () => {
  expect(queriersOf(site, "tower").map(({ node }) => node)).toEqual(["core vlan 10", "core vlan 20", "hall vlan 30"]);
});

test("VLAN plan: given a member in another VLAN, then the stream reaches the routers' VLANs only where it is wanted", () => {
  const { nodes } = byDesignReach(site, "tower", ["kiosk-1"]);
  expect(nodes.has("kiosk-1")).toBe(true);
  expect(nodes.has("router-a")).toBe(true);
  expect(nodes.has("router-b")).toBe(true); // a router's port is open in every VLAN that has the stream
  for (const quiet of ["kiosk-2", "till-1", "till-2", "desk-1", "board-1"])
    expect([quiet, nodes.has(quiet)]).toEqual([quiet, false]);
});

test("VLAN plan: given members in all VLANs, then a link is loaded once for each VLAN that needs the stream on it", () => {
  const listeners = [...site.nodes.values()]
    .filter(({ kind, name }) => kind === "host" && name !== "tower")
    .map(({ name }) => name);
  // 8 Mbit/s in 1316-byte payloads are 8.4012 Mbit/s on Ethernet: RFC 2544 appendix B.
  const stream = { source: "tower", group: "239.195.20.1", listeners, rateBps: 8e6, payloadBytes: 1316 };
  const loads = new Map(segmentLoads(site, [stream]).map(({ segment, loadBps }) => [segment.id, loadBps / 8.4012e6]));
  expect(loads.get("core:1>pier-east:24")).toBeCloseTo(2, 3); // VLAN 10 for board-1, VLAN 20 for two kiosks
  expect(loads.get("core:20>router-a:lan10")).toBeCloseTo(1, 3);
  expect(loads.get("router-a:lan20>core:21")).toBeCloseTo(1, 3);
  expect(loads.get("router-b:lan>hall:20")).toBeCloseTo(1, 3); // VLAN 30 only
  expect(loads.get("hall:20>router-b:lan")).toBeCloseTo(1, 3); // VLAN 20 only
  expect(loads.has("router-a:lan10>core:20")).toBe(false);
  expect(loads.has("pier-west:23>hall:23")).toBe(false);
});

const TWO_ROUTERS = (cost: string): string => `site: two ways
vlans: { 1: {}, 2: {} }
nodes:
  s: { kind: switch }
  t: { kind: switch }
  ra: { kind: router }
  rb: { kind: router }
  a: { kind: host }
  b: { kind: host }
links:
  - { between: [s:1, a:e], vlan: 1 }
  - { between: [s:2, ra:1], vlan: 1 }
  - { between: [s:3, rb:1], vlan: 1${cost} }
  - { between: [ra:2, t:1], vlan: 2 }
  - { between: [rb:2, t:2], vlan: 2 }
  - { between: [t:3, b:e], vlan: 2 }
`;

test("VLAN plan: given two routers of equal cost, then both ways are carried, the plan's first first", () => {
  const paths = pathsBetween(loadSitePlan(TWO_ROUTERS(""), "p.yaml"), "a", "b").map(({ nodes }) => nodes.join(" "));
  expect(paths).toEqual(["a s ra t b", "a s rb t b"]);
});

test("VLAN plan: given one router that costs more, then only the other is a way, and costs count from the listener's side too", () => {
  const dear = loadSitePlan(TWO_ROUTERS(", cost: 5"), "p.yaml");
  expect(pathsBetween(dear, "a", "b").map(({ nodes }) => nodes.join(" "))).toEqual(["a s ra t b"]);
  // The way back has its costs on the routers' other interfaces, which are equal.
  expect(pathsBetween(dear, "b", "a")).toHaveLength(2);
});

test("VLAN plan: given equal routers, then a bystander behind either is on a rightful way", () => {
  const graph: SiteGraph = loadSitePlan(TWO_ROUTERS(""), "p.yaml");
  const { segments } = byDesignReach(graph, "a", ["b"]);
  expect(segments.has("ra:2>t:1") && segments.has("rb:2>t:2")).toBe(true);
  expect(segments.has("ra:1>s:2") || segments.has("rb:1>s:3")).toBe(false); // never back to the source's own VLAN
});

test("VLAN plan: given a ring of VLANs with one pair of equal routers, then two ways for that pair and one for the others", () => {
  const ring = loadSitePlan(
    `site: ring
vlans: { 1: {}, 2: {}, 3: {} }
nodes:
  s: { kind: switch }
  r1: { kind: router }
  r2: { kind: router }
  r3: { kind: router }
  r4: { kind: router }
  a: { kind: host }
  b: { kind: host }
  c: { kind: host }
links:
  - { between: [s:1, a:e], vlan: 1 }
  - { between: [s:2, b:e], vlan: 2 }
  - { between: [s:3, c:e], vlan: 3 }
  - { between: [s:11, r1:e], vlan: [1, 2] }
  - { between: [s:12, r2:e], vlan: [2, 3] }
  - { between: [s:13, r3:e], vlan: [1, 3] }
  - { between: [s:14, r4:e], vlan: [1, 2] }
`,
    "ring.yaml",
  );
  const ways = (from: string, to: string): string[] => pathsBetween(ring, from, to).map(({ nodes }) => nodes.join(" "));
  expect(ways("a", "b")).toEqual(["a s r1 s b", "a s r4 s b"]);
  expect(ways("a", "c")).toEqual(["a s r3 s c"]); // one router rather than two
  expect(ways("c", "b")).toEqual(["c s r2 s b"]);
  expect(sourceWays(unfoldVlans(ring), "a", { isDesignatedLeftOut: true })).toHaveLength(2);
  // Nobody knows the routers' addresses, so each may be the designated one of a VLAN (RFC 7761, section 4.3.2).
  expect(sourceWays(unfoldVlans(ring), "a").length).toBeGreaterThan(2);
});

/** Each is the demo with one change. The mark ▶ stands before the character that the fault must point at. */
const change = (from: string, to: string, text = DEMO): string => {
  if (!text.includes(from)) throw new Error(`"${from}" is not in the demo`);
  return text.replace(from, to);
};
const WRONG: readonly (readonly [what: string, markedText: string, fragment: string])[] = [
  [
    "a host in no VLAN",
    change("- { between: [core:9, tower:eth0], vlan: 10 }", "- ▶core:9 -- tower:eth0"),
    'The host "tower" is in no VLAN',
  ],
  [
    "a host in two VLANs",
    change("[core:9, tower:eth0], vlan: 10", "[core:9, tower:eth0], vlan: ▶[10, 20]"),
    'The host "tower" would be in 2 VLANs',
  ],
  [
    "a VLAN that is not listed",
    change("[core:9, tower:eth0], vlan: 10", "[core:9, tower:eth0], vlan: ▶11"),
    "The plan lists no VLAN 11. Its VLANs are 10, 20, 30",
  ],
  [
    "a trunk that misses a VLAN on the only path",
    change(
      "[core:1, pier-east:24], speed: 1 Gbit/s, vlan: [10, 20]",
      "[core:1, pier-east:24], speed: 1 Gbit/s, vlan: ▶[10]",
    ),
    'VLAN 20 does not cross this link, and it is on the only way from "router-a" to "kiosk-1". Add 20 to its list of VLANs',
  ],
  [
    "a blocked link on the only path",
    change(
      "[hall:3, annex:24], speed: 1 Gbit/s, vlan: 30 }",
      "[hall:3, annex:24], speed: 1 Gbit/s, vlan: ▶30, blocked: true }",
    ),
    "VLAN 30 does not cross this link",
  ],
  [
    "two queriers in one VLAN",
    change("hall: { kind: switch }", "hall: { kind: switch, ▶querier: true }"),
    'VLAN 10 would have two queriers: "core" is one already, and so is "hall"',
  ],
  [
    "a querier that the VLAN does not reach",
    change("querier: hall", "querier: ▶pier-east"),
    '"pier-east" is to query in VLAN 30, and no link brings that VLAN to it',
  ],
  [
    "a router without an interface where it is drawn",
    change('10.78.30.6, "fd78:0:0:30::6"]', '"fd78:0:0:20::9"]').replace(
      "{ between: [hall:20, router-b:lan]",
      "▶{ between: [hall:20, router-b:lan]",
    ),
    'The router "router-b" is drawn in VLAN 30 and has no interface there',
  ],
  [
    "a router's link without a VLAN",
    change("- { between: [core:20, router-a:lan10], speed: 1 Gbit/s, vlan: 10 }", "- ▶core:20 -- router-a:lan10"),
    'The router "router-a" has no interface here',
  ],
  [
    "a router twice in one VLAN",
    change(
      "- { between: [core:21, router-a:lan20], speed: 1 Gbit/s, vlan: 20 }",
      "- ▶{ between: [core:21, router-a:lan20], vlan: 10 }",
    ),
    'The router "router-a" has two interfaces in VLAN 10',
  ],
  [
    "an address without a link",
    change("10.78.20.5,", "▶10.78.30.5,"),
    '"router-a" has the address 10.78.30.5 in VLAN 30, and no link that carries it',
  ],
  ["an address of no subnet", change("10.78.20.5,", "▶10.79.20.5,"), "10.79.20.5 lies in the subnet of no VLAN"],
  [
    "subnets that overlap",
    change("ipv4: 10.78.30.0/24", "ipv4: ▶10.78.20.128/25"),
    "The subnet 10.78.20.128/25 overlaps with one of VLAN 20",
  ],
  [
    "a subnet with host bits",
    change("ipv4: 10.78.30.0/24", "ipv4: ▶10.78.30.1/24"),
    '"10.78.30.1/24" is not an IPv4 subnet',
  ],
  [
    "a loop in two VLANs",
    change(", blocked: true }", " }").replace("- { between: [pier-west:23", "- ▶{ between: [pier-west:23"),
    "This link closes a loop in VLAN 10: pier-west - core - hall - pier-west",
  ],
  [
    "a cost where no router is",
    change("[hall:3, annex:24], speed: 1 Gbit/s", "[hall:3, annex:24], ▶cost: 3"),
    "Only routers count costs",
  ],
];

test.each(WRONG)(
  "VLAN plan: given %s, then the fault names the place and what to do",
  (_what, markedText, fragment) => {
    const before = markedText.slice(0, markedText.indexOf("▶")).split("\n");
    let fault: unknown = null;
    try {
      loadSitePlan(markedText.replace("▶", ""), "plan.yaml");
    } catch (error) {
      fault = error;
    }
    if (!(fault instanceof Fault)) throw new Error("expected a Fault");
    expect(describeFault(fault)).toContain(`plan.yaml:${before.length}:${(before.at(-1) ?? "").length + 1}: `);
    expect(describeFault(fault)).toContain(fragment);
  },
);
