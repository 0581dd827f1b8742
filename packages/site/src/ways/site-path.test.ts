import { expect, test } from "vitest";
import { layer2Domain } from "../model/layer2-domain.ts";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { distributionTree } from "./distribution-tree.ts";
import { querierOf } from "./querier-of.ts";
import { pathBetween } from "./site-path.ts";

//   S1 -- sw1 -- sw2 -- L1, um1 -- L2, L3
//          `---- rt1 -- sw3 -- L4, ap1 -- L5
const plan = (querier: string): string => `site: A
nodes:
  sw1: { kind: switch }
  sw2: { kind: switch${querier === "sw2" ? ", querier: true" : ""} }
  sw3: { kind: switch }
  um1: { kind: unmanaged }
  ap1: { kind: access-point }
  rt1: { kind: router }
  S1: { kind: host, agent: source-agent }
  L1: { kind: host }
  L2: { kind: host }
  L3: { kind: host }
  L4: { kind: host }
  L5: { kind: host }
links:
  - S1:e -- sw1:1
  - sw1:2 -- sw2:1
  - sw2:2 -- L1:e
  - sw2:3 -- um1:1
  - um1:2 -- L2:e
  - um1:3 -- L3:e
  - sw1:3 -- rt1:1
  - rt1:2 -- sw3:1
  - sw3:2 -- L4:e
  - sw3:3 -- ap1:1
  - ap1:2 -- L5:e
`;
const site = loadSitePlan(plan("none"), "a.yaml");

test("pathBetween: given two hosts, then nodes and segments lead from one to the other", () => {
  const path = pathBetween(site, "S1", "L2");
  expect(path?.nodes).toEqual(["S1", "sw1", "sw2", "um1", "L2"]);
  expect(path?.segments.map((segment) => segment.id)).toEqual([
    "S1:e>sw1:1",
    "sw1:2>sw2:1",
    "sw2:3>um1:1",
    "um1:2>L2:e",
  ]);
});

test("pathBetween: given the way back, then it is the same links the other way round", () => {
  const there = pathBetween(site, "S1", "L5");
  const back = pathBetween(site, "L5", "S1");
  expect(back?.nodes).toEqual(there?.nodes.toReversed());
  expect(back?.segments.map(({ link }) => link.index)).toEqual(
    there?.segments.map(({ link }) => link.index).toReversed(),
  );
});

test("pathBetween: given one node twice or a node that is not there, then an empty path or none", () => {
  expect(pathBetween(site, "S1", "S1")).toEqual({ nodes: ["S1"], segments: [] });
  expect(pathBetween(site, "S1", "nobody")).toBeNull();
  expect(pathBetween(site, "nobody", "S1")).toBeNull();
});

test("distributionTree: given listeners, then each segment stands once with the listeners below it", () => {
  const tree = distributionTree(site, "S1", ["L2", "L3", "L5"]);
  expect(Object.fromEntries(tree.listenersBelow)).toEqual({
    "S1:e>sw1:1": ["L2", "L3", "L5"],
    "sw1:2>sw2:1": ["L2", "L3"],
    "sw2:3>um1:1": ["L2", "L3"],
    "um1:2>L2:e": ["L2"],
    "um1:3>L3:e": ["L3"],
    "sw1:3>rt1:1": ["L5"],
    "rt1:2>sw3:1": ["L5"],
    "sw3:3>ap1:1": ["L5"],
    "ap1:2>L5:e": ["L5"],
  });
  expect(tree.nodes).toEqual(["S1", "sw1", "sw2", "um1", "L2", "L3", "rt1", "sw3", "ap1", "L5"]);
  expect(tree.segments.map((segment) => segment.id)).toEqual([...tree.listenersBelow.keys()]);
});

test("distributionTree: given a listener that is not in the plan, then it is unreachable, not silently left out", () => {
  expect(distributionTree(site, "S1", ["L1", "nobody"]).unreachable).toEqual(["nobody"]);
});

test("layer2Domain: given a host, then the domain ends at the router and includes it", () => {
  expect([...layer2Domain(site, "S1")].sort()).toEqual(["L1", "L2", "L3", "S1", "rt1", "sw1", "sw2", "um1"]);
  expect([...layer2Domain(site, "L5")].sort()).toEqual(["L4", "L5", "ap1", "rt1", "sw3"]);
});

test("layer2Domain: given the router, then both its domains; given an unknown node, then none", () => {
  expect(layer2Domain(site, "rt1").size).toBe(site.nodes.size);
  expect(layer2Domain(site, "nobody").size).toBe(0);
});

test("querierOf: given a declared querier, then it, and otherwise the forwarder nearest the source, said to be assumed", () => {
  expect(querierOf(loadSitePlan(plan("sw2"), "a.yaml"), "S1")).toEqual({ node: "sw2", isAssumed: false });
  expect(querierOf(site, "S1")).toEqual({ node: "sw1", isAssumed: true });
  expect(querierOf(site, "L5")).toEqual({ node: "ap1", isAssumed: true });
  expect(querierOf(site, "nobody")).toBeNull();
});

test("querierOf: given two hosts on one cable, then nobody is", () => {
  const cable = loadSitePlan(
    "site: c\nnodes: { a: { kind: host }, b: { kind: host } }\nlinks: [a:e -- b:e]\n",
    "c.yaml",
  );
  expect(querierOf(cable, "a")).toBeNull();
});
