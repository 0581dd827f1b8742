import { readFileSync } from "node:fs";
import { loadSitePlan, unfoldVlans } from "@dyetrace/site";
import { expect, test } from "vitest";
import { NO_EVIDENCE } from "./choose-ways.ts";
import { layOutDelta } from "./delta-layout.ts";
import { lanesOf } from "./lanes.ts";
import { hangUp, type SiteTree } from "./site-tree.ts";

const read = (path: string) => {
  const text = readFileSync(new URL(`../../../../${path}`, import.meta.url), "utf8");
  return unfoldVlans(loadSitePlan(text, path));
};
const VLANS = read("packages/practice/demo/quillfen-vlans.yaml");
const RING = read("tests/field/support/ring.yaml");

function hung(tree: SiteTree | null): SiteTree {
  if (tree === null) throw new Error("no tree");
  return tree;
}
const parentOf = (tree: SiteTree, name: string) => tree.byName.get(name)?.parent;

test("hangUp: given the demo with VLANs, then each switch stands once in each of them and routers lead from one to the next, as drawn at the head of the plan", () => {
  const tree = hung(hangUp(VLANS, "tower"));
  expect(tree.apart).toEqual([]);
  expect(tree.byName.size).toBe(VLANS.nodes.size);
  expect(parentOf(tree, "router-a")).toBe("core vlan 10");
  expect(parentOf(tree, "core vlan 20")).toBe("router-a");
  expect(parentOf(tree, "hall vlan 20")).toBe("core vlan 20");
  expect(parentOf(tree, "router-b")).toBe("hall vlan 20");
  expect(parentOf(tree, "hall vlan 30")).toBe("router-b");
  expect(tree.byName.get("board-1")?.vlan).toBe(10);
  expect([...tree.byName.values()].some(({ isOneOfSeveral }) => isOneOfSeveral)).toBe(false);
  // A trunk that is suspected whole stands in two VLANs.
  expect(tree.placesOf("core:1>pier-east:24")).toEqual(["core:1>pier-east:24 vlan 10", "core:1>pier-east:24 vlan 20"]);
});

test("hangUp: given a ring with two routers of equal cost, then neither is said to be the one; given the run has shown one to work, then it is", () => {
  const severalOf = (tree: SiteTree) =>
    [...tree.byName.values()].filter(({ isOneOfSeveral }) => isOneOfSeveral).map(({ node }) => node.name);
  expect(severalOf(hung(hangUp(RING, "a1")))).toEqual(expect.arrayContaining(["ra", "ra2"]));
  const cleared = [
    "core:14>ra2:lan vlan 1",
    "ra2:lan>core:14 vlan 2",
    "core:13>rc:lan vlan 1",
    "rc:lan>core:13 vlan 3",
  ];
  const tree = hung(hangUp(RING, "a1", { ...NO_EVIDENCE, cleared }));
  expect(severalOf(tree)).toEqual([]);
  expect(parentOf(tree, "core vlan 2")).toBe("ra2");
});

test("hangUp: given one side of the ring got nothing, then the ways are drawn by which the stream has to end at one place only", () => {
  const evidence = { ...NO_EVIDENCE, reached: ["a2", "b1", "b2"], silent: ["c1", "c2"], suspects: ["core:12>rb:lan"] };
  const tree = hung(hangUp(RING, "a1", evidence));
  expect(["ra", "ra2"]).toContain(parentOf(tree, "core vlan 2"));
});

test("hangUp: given a VLAN without a router, then it is drawn apart, and every node has a place", () => {
  const text = `site: s
vlans: { 1: {}, 2: {} }
nodes: { sw: { kind: switch }, a: { kind: host }, b: { kind: host }, c: { kind: host } }
links:
  - { between: [sw:1, a:eth0], vlan: 1 }
  - { between: [sw:2, b:eth0], vlan: 1 }
  - { between: [sw:3, c:eth0], vlan: 2 }
`;
  const tree = hung(hangUp(unfoldVlans(loadSitePlan(text, "s.yaml")), "a"));
  expect(tree.apart.map(({ node }) => node.name)).toEqual(["sw vlan 2"]);
  const layout = layOutDelta(tree, { width: 900, height: 700, folded: new Set(), measure: (name) => name.length * 8 });
  expect(layout.places.size).toBe(tree.byName.size);
});

test("lanesOf: given the demo with VLANs, wide and narrow, then there is one lane for each, inside the picture, with its nodes on it and each lane below a router within the one above", () => {
  const tree = hung(hangUp(VLANS, "tower"));
  const measure = (name: string): number => name.length * 7.5;
  for (const width of [360, 950]) {
    const layout = layOutDelta(tree, { width, height: 700, folded: new Set(), measure });
    const lanes = lanesOf(tree, layout, measure);
    expect(lanes.map(({ vlan, depth }) => [vlan, depth])).toEqual([
      [10, 0],
      [20, 1],
      [30, 2],
    ]);
    for (const [index, lane] of lanes.entries()) {
      const outer = lanes[index - 1] ?? { x: 0, y: 0, width: layout.width, height: layout.height };
      expect(lane.x).toBeGreaterThanOrEqual(outer.x);
      expect(lane.y).toBeGreaterThanOrEqual(outer.y);
      expect(lane.y + lane.height).toBeLessThanOrEqual(outer.y + outer.height);
      for (const { node, vlan } of tree.byName.values()) {
        const place = layout.places.get(node.name);
        if (vlan !== lane.vlan || place === undefined) continue;
        expect(place.x).toBeGreaterThan(lane.x);
        expect(place.x).toBeLessThan(lane.x + lane.width);
        expect(place.y).toBeGreaterThan(lane.y);
        expect(place.y).toBeLessThan(lane.y + lane.height);
      }
    }
  }
});
