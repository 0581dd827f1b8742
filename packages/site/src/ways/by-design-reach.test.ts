import fc from "fast-check";
import { expect, test } from "vitest";
import { buildSiteGraph } from "../model/site-graph.ts";
import type { NodeKind, SiteGraph } from "../model/site-model.ts";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { byDesignReach } from "./by-design-reach.ts";
import { pathBetween } from "./site-path.ts";

/**
 *     S1--sw1--um1--L1, B2        sw1--um2--B6, rt1     rt1--sw3--B5
 *          |---B1                 sw1--sw2--L2, B3, B4
 */
const site = loadSitePlan(
  `site: example
nodes:
  sw1: { kind: switch }
  sw2: { kind: switch }
  sw3: { kind: switch }
  um1: { kind: unmanaged }
  um2: { kind: unmanaged }
  rt1: { kind: router }
  S1: { kind: host }
  L1: { kind: host }
  L2: { kind: host }
  B1: { kind: host }
  B2: { kind: host }
  B3: { kind: host }
  B4: { kind: host }
  B5: { kind: host }
  B6: { kind: host }
links:
  - S1:e -- sw1:1
  - sw1:2 -- um1:1
  - um1:2 -- L1:e
  - um1:3 -- B2:e
  - sw1:3 -- B1:e
  - sw1:4 -- sw2:1
  - sw2:2 -- L2:e
  - sw2:3 -- B3:e
  - sw2:4 -- B4:e
  - sw1:5 -- um2:1
  - um2:2 -- B6:e
  - um2:3 -- rt1:1
  - rt1:2 -- sw3:1
  - sw3:2 -- B5:e
`,
  "example.yaml",
);

// Expected sets: by hand from the forwarding rules of RFC 4541 section 2.1.2.
test("byDesignReach: given members behind a shared port and a router, then bystanders beside them see the stream rightly", () => {
  const { nodes, segments } = byDesignReach(site, "S1", ["L1", "L2"]);
  expect([...nodes].sort()).toEqual(["B2", "B6", "L1", "L2", "S1", "rt1", "sw1", "sw2", "um1", "um2"]);
  expect(segments.has("um1:3>B2:e")).toBe(true);
  expect(segments.has("sw1:3>B1:e")).toBe(false);
  expect(segments.has("rt1:2>sw3:1")).toBe(false);
});

test("byDesignReach: given a member beyond the router, then the way there is open and B1 still sees nothing", () => {
  const { nodes } = byDesignReach(site, "S1", ["B5"]);
  expect([...nodes].sort()).toEqual(["B5", "B6", "S1", "rt1", "sw1", "sw3", "um2"]);
});

test("byDesignReach: given nobody joined, then only router ports are open", () => {
  expect([...byDesignReach(site, "S1", []).nodes].sort()).toEqual(["B6", "S1", "rt1", "sw1", "um2"]);
});

test("byDesignReach: given a querier elsewhere, then ports towards it are open", () => {
  expect(byDesignReach(site, "S1", [], "sw2").nodes.has("sw2")).toBe(true);
  expect(byDesignReach(site, "S1", [], "sw1").nodes.has("sw2")).toBe(false);
  expect(byDesignReach(site, "S1", [], null).nodes.has("sw2")).toBe(false);
});

test("byDesignReach: given an unknown source, then nothing is reached", () => {
  expect(byDesignReach(site, "nobody", ["L1"])).toEqual({ nodes: new Set(), segments: new Set() });
});

/** A tree of forwarders with hosts at its ends; `parents[i]` is where forwarder i + 1 hangs. */
function randomSite(kinds: readonly NodeKind[], parents: readonly number[], hosts: readonly number[]): SiteGraph {
  const forwarders = kinds.map((kind, index) => ({ name: `n${index}`, kind, isQuerier: false, agent: null }));
  const ends = hosts.map((_, index) => ({
    name: `h${index}`,
    kind: "host" as const,
    isQuerier: false,
    agent: `h${index}`,
  }));
  const edges = [
    ...kinds.slice(1).map((_, index) => [`n${index + 1}`, `n${(parents[index] ?? 0) % (index + 1)}`] as const),
    ...hosts.map((at, index) => [`h${index}`, `n${at % kinds.length}`] as const),
  ];
  const links = edges.map(([a, b], index) => ({
    index,
    a: { node: a, port: `p${index}` },
    b: { node: b, port: `q${index}` },
    speedBps: null,
  }));
  return buildSiteGraph("random", [...forwarders, ...ends], links);
}

/**
 * The rules said another way: a node is reached if every forwarder on the path to it has reason to forward there. Told
 * from paths between pairs of nodes, with no flooding.
 */
function isReached(
  graph: SiteGraph,
  source: string,
  joined: readonly string[],
  querier: string,
  node: string,
): boolean {
  const path = pathBetween(graph, source, node)?.nodes ?? [];
  return path.every((hop, index) => {
    const next = path[index + 1];
    const kind = graph.nodes.get(hop)?.kind;
    if (next === undefined || index === 0 || kind === "unmanaged" || kind === "access-point") return true;
    const beyond = [...graph.nodes.keys()].filter((other) => {
      const way = pathBetween(graph, hop, other)?.nodes ?? [];
      const routersBetween = way.slice(1, -1).filter((between) => graph.nodes.get(between)?.kind === "router").length;
      return way[1] === next && (kind === "router" || routersBetween === 0);
    });
    const isWanted = (other: string): boolean =>
      joined.includes(other) || (kind === "switch" && (other === querier || graph.nodes.get(other)?.kind === "router"));
    return kind !== "host" && beyond.some(isWanted);
  });
}

test("byDesignReach: given any tree and any members, then a node is reached if each hop has reason to forward to it", () => {
  const kind = fc.constantFrom<NodeKind>("switch", "switch", "unmanaged", "router", "access-point");
  fc.assert(
    fc.property(
      fc.array(kind, { minLength: 1, maxLength: 8 }),
      fc.array(fc.nat(), { minLength: 8, maxLength: 8 }),
      fc.array(fc.nat(), { minLength: 2, maxLength: 6 }),
      fc.nat(),
      fc.nat(63),
      (kinds, parents, hosts, querierAt, joinedBits) => {
        const graph = randomSite(kinds, parents, hosts);
        const querier = `n${querierAt % kinds.length}`;
        const joined = hosts
          .map((_, index) => `h${index}`)
          .filter((_, index) => index > 0 && (joinedBits >> index) & 1);
        const { nodes } = byDesignReach(graph, "h0", joined, querier);
        for (const node of graph.nodes.keys()) {
          expect([node, nodes.has(node)]).toEqual([node, isReached(graph, "h0", joined, querier, node)]);
        }
      },
    ),
    { numRuns: 300 },
  );
});
