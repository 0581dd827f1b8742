import type { FileMistakes } from "@dyetrace/wire";
import { domainsOfLinks } from "../model/layer2-domain.ts";
import { buildSiteGraph } from "../model/site-graph.ts";
import { type SiteGraph, type SiteLink, segmentId } from "../model/site-model.ts";
import { unfoldVlans } from "../vlans/unfold-vlans.ts";
import { planPlace } from "../vlans/vlan-place.ts";
import { pathBetween } from "../ways/site-path.ts";

/** Adds a mistake for whatever keeps each subnet of the plan from being one tree with hosts at its ends. */
export function checkTopology(graph: SiteGraph, mistakes: FileMistakes): void {
  if (graph.links.length === 0) {
    mistakes.add(["links"], "The plan has no link", "Add links such as `- core:1 -- tower:eth0`", "key");
    return;
  }
  checkHosts(graph, mistakes);
  checkLoops(graph, mistakes);
  checkRouters(graph, mistakes);
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

/** Loops that are told; a file's mistakes are told up to ten. */
const MOST_LOOPS = 10;

/** Frames would go round wherever links that are not blocked close a ring of nodes other than routers. */
function checkLoops(graph: SiteGraph, mistakes: FileMistakes): void {
  const site = unfoldVlans(graph);
  const tree: SiteLink[] = [];
  let loops = 0;
  const parts = new Map([...site.nodes.keys()].map((name) => [name, new Set([name])]));
  const isRouter = (node: string): boolean => site.nodes.get(node)?.kind === "router";
  for (const link of site.links) {
    const [a, b] = [parts.get(link.a.node), parts.get(link.b.node)];
    if (a === undefined || b === undefined || isRouter(link.a.node) || isRouter(link.b.node)) continue;
    if (a === b) {
      if (++loops <= MOST_LOOPS) explainLoop(graph, tree, link, mistakes); // each looks at the whole plan
    } else {
      tree.push(link);
      const [small, large] = a.size < b.size ? [a, b] : [b, a];
      for (const node of small) parts.set(node, large.add(node));
    }
  }
}

function explainLoop(graph: SiteGraph, tree: readonly SiteLink[], link: SiteLink, mistakes: FileMistakes): void {
  const site = unfoldVlans(graph);
  const treeGraph = buildSiteGraph(site.name, [...site.nodes.values()], tree);
  const loop = pathBetween(treeGraph, link.a.node, link.b.node)?.nodes ?? [];
  if (loop.some((node) => site.nodes.get(node)?.kind === "host")) return; // reported by checkHosts
  const ring = [...loop, link.a.node].map(planPlace).join(" - ");
  const vlan = link.vlans === undefined ? "" : ` in VLAN ${link.vlans.join()}`;
  mistakes.add(
    ["links", planLink(graph, link)],
    `This link closes a loop${vlan}: ${ring}`,
    "Mark the link that spanning tree blocks with `blocked: true`, or leave it out",
  );
}

/** A router joins subnets: two of its interfaces in one would be no router's, and none at all no plan's. */
function checkRouters(graph: SiteGraph, mistakes: FileMistakes): void {
  const site = unfoldVlans(graph);
  const domains = domainsOfLinks(site);
  for (const { name } of [...site.nodes.values()].filter(({ kind }) => kind === "router")) {
    const joined = new Set<number>();
    for (const { link } of site.outgoing.get(name) ?? []) {
      const domain = domains.get(link) ?? -1;
      if (joined.has(domain)) {
        const where = link.vlans === undefined ? "one subnet" : `VLAN ${link.vlans.join()}`;
        mistakes.add(
          ["links", planLink(graph, link)],
          `The router "${name}" has two interfaces in ${where}`,
          "Give it one interface in each subnet, or draw a switch instead",
        );
      }
      joined.add(domain);
    }
  }
}

/** Position in the plan of a link of the unfolded site. */
function planLink(graph: SiteGraph, { a, b }: SiteLink): number {
  const id = segmentId({ ...a, node: planPlace(a.node) }, { ...b, node: planPlace(b.node) });
  return graph.segments.get(id)?.link.index ?? -1;
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
