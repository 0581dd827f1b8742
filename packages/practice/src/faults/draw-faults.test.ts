import { readFileSync } from "node:fs";
import { distributionTree, loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { drawFaults } from "./draw-faults.ts";

const planOf = (name: string) =>
  loadSitePlan(readFileSync(new URL(`../../demo/${name}`, import.meta.url), "utf8"), name);
const graph = planOf("quillfen.yaml");
const QUERIERS = [...graph.nodes.values()].filter(({ isQuerier }) => isQuerier).map(({ name }) => name);

test("drawFaults: given a seed, then the same faults come in the same order; given other seeds, then nearly every kind that has a place has its turn", () => {
  const some = (seed: number) => [...drawFaults(graph, QUERIERS, { seed, source: null })];
  expect(some(4711)).toEqual(some(4711));
  const draws = [1, 2, 3, 4, 5].map(some);
  const many = draws.flat();
  expect(new Set(draws.map(([first]) => JSON.stringify(first))).size).toBeGreaterThan(3);
  // Quillfen has no router and no trunk of several VLANs: 17 of the 20 kinds that are drawn have a place there.
  const kinds = new Set(many.map(({ fault }) => fault));
  for (const kind of ["vlan-missing", "access-list", "static-entry", "isolated"] as const)
    expect(kinds).not.toContain(kind);
  expect(kinds.size).toBeGreaterThanOrEqual(16);
});

test("drawFaults: given who sends, then what touches packets lies on a way from it", () => {
  const listeners = [...graph.nodes.values()].filter(({ agent, name }) => agent !== null && name !== "tower");
  const tree = distributionTree(
    graph,
    "tower",
    listeners.map(({ name }) => name),
  );
  const onTree = new Set(tree.segments.map(({ id }) => id));
  const drawn = [1, 2, 3].flatMap((seed) => [...drawFaults(graph, QUERIERS, { seed, source: "tower" })]);
  const lost = drawn.filter(
    ({ fault, on }) => ["drop", "duplicate", "reorder", "link-down"].includes(fault) && on.includes(">"),
  );
  expect(lost.length).toBeGreaterThan(30);
  expect(lost.filter(({ on }) => !onTree.has(on))).toEqual([]);
  expect(drawn.filter(({ on }) => on === "tower")).toEqual([]);
});

test("drawFaults: given a site of VLANs, then a trunk's missing VLAN is drawn with its number", () => {
  const vlans = planOf("quillfen-vlans.yaml");
  const drawn = [1, 2, 3, 4].flatMap((seed) => [...drawFaults(vlans, ["core"], { seed, source: null })]);
  const missing = drawn.filter(({ fault }) => fault === "vlan-missing");
  expect(missing.length).toBeGreaterThan(0);
  for (const { on, vlan } of missing) expect(vlans.segments.get(on)?.link.vlans).toContain(vlan);
});

test("drawFaults: given an agent that the plan has not, then it says so", () => {
  expect(() => drawFaults(graph, QUERIERS, { seed: 1, source: "cellar" }).next()).toThrow(/no agent cellar/);
});
