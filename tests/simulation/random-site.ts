import type { SiteGraph } from "@dyetrace/site";
import { drawOne, type Random } from "./seeded-random.ts";
import { sketchSite } from "./sketch-site.ts";

/**
 * A tree of switches, a few unmanaged switches, access points and routers among them, with hosts at its ends: about
 * `nodeCount` nodes, at least two hosts. One switch is the querier.
 */
export function randomSite(random: Random, nodeCount: number): SiteGraph {
  const links: string[] = [];
  const inner = ["core"];
  const innerCount = Math.max(1, Math.floor(nodeCount * (0.15 + 0.25 * random())));
  while (inner.length < innerCount) {
    const chance = random();
    const prefix = chance < 0.65 ? "sw" : chance < 0.78 ? "um" : chance < 0.88 ? "ap" : "rt";
    const name = `${prefix}${inner.length}`;
    // Most hang on one of the first few: real sites are wide rather than deep.
    const above = random() < 0.5 ? inner.slice(0, 3) : inner;
    links.push(`${drawOne(random, above)}--${name}`);
    inner.push(name);
  }
  const isLeaf = (name: string): boolean => !links.some((link) => link.startsWith(`${name}--`));
  const ends = inner.filter(isLeaf);
  let hosts = 0;
  for (const end of ends) links.push(`${end}--h${hosts++}`);
  while (hosts < Math.max(2, nodeCount - innerCount)) links.push(`${drawOne(random, inner)}--h${hosts++}`);
  return sketchSite(
    links,
    drawOne(
      random,
      inner.filter((name) => /^(core|sw)/.test(name)),
    ),
  );
}
