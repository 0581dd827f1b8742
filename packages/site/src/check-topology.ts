import type { FileMistakes } from "@dyetrace/wire";
import { buildSiteGraph } from "./site-graph.ts";
import type { SiteGraph, SiteLink } from "./site-model.ts";
import { pathBetween } from "./site-path.ts";

/** Adds a mistake for whatever keeps the plan from being one tree with hosts at its ends. */
export function checkTopology(graph: SiteGraph, mistakes: FileMistakes): void {
  if (graph.links.length === 0) {
    mistakes.add(["links"], "The plan has no link", "Add links such as `- core:1 -- tower:eth0`", "key");
    return;
  }
  checkHosts(graph, mistakes);
  checkLoops(graph, mistakes);
  checkParts(graph, mistakes);
}

/** A host with two links would forward, or be two listeners: its place in the tree would not be one. */
function checkHosts(graph: SiteGraph, mistakes: FileMistakes): void {
  for (const { name, kind } of graph.nodes.values()) {
    const second = graph.outgoing.get(name)?.[1];
    if (kind !== "host" || second === undefined) continue;
    mistakes.add(
      ["links", second.link.index],
      `The host "${name}" has a link already`,
      "Give a host exactly one link to the tested network",
    );
  }
}

function checkLoops(graph: SiteGraph, mistakes: FileMistakes): void {
  const nodes = [...graph.nodes.values()];
  const tree: SiteLink[] = [];
  for (const link of graph.links) {
    const otherWay = pathBetween(buildSiteGraph(graph.name, nodes, tree), link.a.node, link.b.node);
    if (otherWay === null) {
      tree.push(link);
      continue;
    }
    if (otherWay.nodes.some((node) => graph.nodes.get(node)?.kind === "host")) continue; // reported by checkHosts
    const loop = `This link closes a loop: ${[...otherWay.nodes, link.a.node].join(" - ")}`;
    const isRouted = otherWay.nodes.some((node) => graph.nodes.get(node)?.kind === "router");
    const [message, hint] = isRouted
      ? [
          `${loop}; several routes between two places are not modelled yet`,
          "Leave out the links that multicast routing does not use",
        ]
      : [`${loop}; spanning tree is not modelled yet`, "Leave out the links that spanning tree blocks"];
    mistakes.add(["links", link.index], message, hint);
  }
}

/** Adds a mistake for every part of the plan, after the first, that hangs together only with itself. */
function checkParts(graph: SiteGraph, mistakes: FileMistakes): void {
  const [first] = graph.nodes.keys();
  if (first === undefined) return;
  const placed = new Set<string>();
  for (const name of graph.nodes.keys()) {
    if (placed.has(name)) continue;
    const isAlone = (graph.outgoing.get(name) ?? []).length === 0;
    if (isAlone) mistakes.add(["nodes", name], `No link leads to "${name}"`, "Add one, or remove the node", "key");
    else if (name !== first) {
      const message = `No way leads from "${first}" to "${name}" and what hangs on it`;
      mistakes.add(["nodes", name], message, "Add the missing link, or make two plans", "key");
    }
    const part = new Set([name]);
    for (const at of part) for (const segment of graph.outgoing.get(at) ?? []) part.add(segment.to.node);
    for (const node of part) placed.add(node);
  }
}
