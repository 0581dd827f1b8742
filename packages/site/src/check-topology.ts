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
  const tree: SiteLink[] = [];
  const parts = new Map([...graph.nodes.keys()].map((name) => [name, new Set([name])]));
  for (const link of graph.links) {
    const [a, b] = [parts.get(link.a.node), parts.get(link.b.node)];
    if (a === undefined || b === undefined) continue;
    if (a === b) explainLoop(graph, tree, link, mistakes);
    else {
      tree.push(link);
      for (const node of b) parts.set(node, a.add(node));
    }
  }
}

function explainLoop(graph: SiteGraph, tree: readonly SiteLink[], link: SiteLink, mistakes: FileMistakes): void {
  const treeGraph = buildSiteGraph(graph.name, [...graph.nodes.values()], tree);
  const loop = pathBetween(treeGraph, link.a.node, link.b.node)?.nodes ?? [];
  const kinds = loop.map((node) => graph.nodes.get(node)?.kind);
  if (kinds.includes("host")) return; // reported by checkHosts
  const message = `This link closes a loop: ${[...loop, link.a.node].join(" - ")}`;
  if (kinds.includes("router")) {
    const hint = "Leave out the links that multicast routing does not use";
    mistakes.add(["links", link.index], `${message}; several routes between two places are not modelled yet`, hint);
  } else {
    const hint = "Leave out the links that spanning tree blocks";
    mistakes.add(["links", link.index], `${message}; spanning tree is not modelled yet`, hint);
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
