import { buildSiteGraph, type SiteLink, type SiteNode } from "@dyetrace/site";
import fc from "fast-check";
import { expect, test } from "vitest";
import { hangUp, type SiteTree } from "../layout/site-tree.ts";
import type { HostWater } from "../water/host-water.ts";
import { groupHosts, type HostFilter } from "./group-hosts.ts";
import { sceneOf } from "./site-scene.ts";

/** One switch with a source and as many hosts as there are waters. */
function siteOf(waters: readonly HostWater[]): {
  readonly tree: SiteTree;
  readonly waterOf: (host: string) => HostWater;
} {
  const names = ["tower", ...waters.map((_, index) => `h${index + 1}`)];
  const nodes: SiteNode[] = [
    { name: "core", kind: "switch", isQuerier: true, agent: null },
    ...names.map((name) => ({ name, kind: "host", isQuerier: false, agent: name }) as const),
  ];
  const links: SiteLink[] = names.map((name, index) => ({
    index,
    a: { node: "core", port: String(index) },
    b: { node: name, port: "eth0" },
    speedBps: null,
  }));
  const tree = hangUp(buildSiteGraph("site", nodes, links), "tower");
  if (tree === null) throw new Error("no tree");
  return { tree, waterOf: (host) => waters[Number(host.slice(1)) - 1] ?? { kind: "source" } };
}

const grouped = (waters: readonly HostWater[], filter: HostFilter = "everything", kept: readonly string[] = []) => {
  const { tree, waterOf } = siteOf(waters);
  const scene = sceneOf(tree, waterOf);
  return groupHosts(tree, scene, { kept: new Set(kept), opened: new Set(), filter, isGrouping: true });
};
const of = (kind: "whole" | "dry", count: number): HostWater[] => Array.from({ length: count }, () => ({ kind }));

test("groupHosts: given six hosts with everything and two with nothing, then the six are one outlet, behind the two", () => {
  const { tree, scene } = grouped([...of("whole", 6), ...of("dry", 2)]);
  const outlets = tree.byName.get("core")?.children.map(({ node, group }) => group?.words ?? node.name);
  expect(outlets).toEqual(["h7", "h8", "no loss"]);
  expect(scene.hosts.get("core whole")).toEqual({ kind: "whole" });
});

test("groupHosts: given a host that is kept, then it stands by itself", () => {
  expect(grouped(of("whole", 6), "everything", ["h2"]).tree.byName.has("h2")).toBe(true);
});

test("groupHosts: given the filter of trouble, then hosts without any are gone, and the way from the source is not", () => {
  const { tree } = grouped([...of("whole", 6), ...of("dry", 2)], "trouble");
  expect([...tree.byName.keys()].sort()).toEqual(["core", "h7", "h8", "tower"]);
});

test("groupHosts: given any hosts, then each is drawn once, by itself or in one group", () => {
  const anyWater = fc.constantFrom<HostWater>(
    { kind: "whole" },
    { kind: "dry" },
    { kind: "unknown" },
    { kind: "thins", lossRatio: 0.02, lossClass: 3, isInterrupted: false, isHostsOwn: false },
  );
  fc.assert(
    fc.property(fc.array(anyWater, { maxLength: 40 }), (waters) => {
      const { tree } = grouped(waters);
      const drawn = [...tree.byName.values()].flatMap(({ node, group }) => group?.hosts ?? [node.name]);
      // Whatever is put together, as many nodes stand below a switch as the plan has there.
      expect(tree.byName.get("core")?.size).toBe(waters.length);
      expect(drawn.sort()).toEqual(["core", "tower", ...waters.map((_, index) => `h${index + 1}`)].sort());
    }),
  );
});
