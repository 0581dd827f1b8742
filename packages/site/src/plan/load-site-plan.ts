import {
  checkAgainstSchema,
  type DataPath,
  FileMistakes,
  parseRateBps,
  readYamlDocument,
  SitePlanFileSchema,
  type SitePlanLink,
  type SitePlanNode,
  shown,
} from "@dyetrace/wire";
import { parseLinkText, readPortRef } from "../model/link-text.ts";
import { buildSiteGraph } from "../model/site-graph.ts";
import type { PortRef, SiteGraph, SiteLink, SiteNode, SiteVlan } from "../model/site-model.ts";
import { checkQueriers, checkVlans } from "../vlans/check-vlans.ts";
import { readLinkVlans } from "../vlans/read-link-vlans.ts";
import { readVlans } from "../vlans/read-vlans.ts";
import { checkTopology } from "./check-topology.ts";
import { checkBssids, readBssids } from "./read-bssids.ts";
import { readMembershipTime } from "./read-membership-time.ts";
import { readRadio } from "./read-radio.ts";
import { readTalk } from "./read-talk.ts";

/**
 * Reads a site plan. Each subnet of it is a tree, once the links that spanning tree blocks are left out; routers join
 * the subnets.
 * @param text the file's text or bytes
 * @throws {Fault} SITE_PLAN_INVALID with the place of the first mistake and the rest in `others`
 */
export function loadSitePlan(text: string | Uint8Array, file: string): SiteGraph {
  const document = readYamlDocument(text, file, "SITE_PLAN_INVALID");
  const plan = checkAgainstSchema(document, SitePlanFileSchema);
  const mistakes = new FileMistakes(document);
  const nodes = Object.entries(plan.nodes).map(([name, node]) => readNode(name, node, mistakes));
  const vlans = readVlans(plan, nodes, mistakes);
  checkNodes(nodes, vlans !== null, mistakes);
  checkBssids(nodes, mistakes);
  const byName = new Map(nodes.map((node) => [node.name, node]));
  const names = new Set(byName.keys());
  const links = plan.links.flatMap((link, index) => readLink(link, index, byName, names, vlans, mistakes));
  checkPorts(links, mistakes);
  mistakes.throwIfAny();
  const declared = new Set(nodes.filter((node) => node.isQuerier).map((node) => node.name));
  const graph = withQueriers(buildSiteGraph(plan.site, nodes, links, vlans), declared);
  checkTopology(graph, mistakes);
  mistakes.throwIfAny();
  checkQueriers(graph, declared, mistakes);
  checkVlans(graph, mistakes);
  mistakes.throwIfAny();
  return graph;
}

/** A node that is querier without more said is so in each VLAN that it carries; one that a VLAN names is querier, too. */
function withQueriers(graph: SiteGraph, declared: ReadonlySet<string>): SiteGraph {
  if (graph.vlans === undefined) return graph;
  const carries = (node: string, vlan: number): boolean =>
    (graph.outgoing.get(node) ?? []).some(({ link }) => link.vlans?.includes(vlan));
  const vlans = [...graph.vlans.values()].map((vlan): SiteVlan => {
    const querier = vlan.querier ?? [...declared].find((node) => carries(node, vlan.number)) ?? null;
    return { ...vlan, querier };
  });
  const queriers = new Set(vlans.map(({ querier }) => querier));
  const nodes = [...graph.nodes.values()].map((node) => ({ ...node, isQuerier: queriers.has(node.name) }));
  return buildSiteGraph(graph.name, nodes, graph.links, new Map(vlans.map((vlan) => [vlan.number, vlan])));
}

const NODE_NAME = /^[A-Za-z][A-Za-z0-9-]{0,30}$/;
/** `controller` is what the practice site calls its own node; `all` and `none` mean everyone and nobody. */
const RESERVED_NAMES: ReadonlySet<string> = new Set(["controller", "all", "none"]);

function readNode(name: string, node: SitePlanNode, mistakes: FileMistakes): SiteNode {
  const path: DataPath = ["nodes", name];
  if (!NODE_NAME.test(name)) {
    const rule = "Begin with a letter and use letters, digits and hyphens, 31 at most";
    mistakes.add(path, `"${shown(name)}" cannot be the name of a node`, rule, "key");
  } else if (RESERVED_NAMES.has(name)) {
    mistakes.add(path, `The name "${name}" is taken by dyetrace itself`, "Choose another name", "key");
  }
  if (node.kind === "host" && node.querier === true) {
    mistakes.add([...path, "querier"], "A host cannot be the querier", "Set it on a switch or router", "key");
  }
  if (node.kind !== "host" && node.agent !== undefined) {
    mistakes.add(
      [...path, "agent"],
      `Only a host carries an agent, and "${name}" is of kind ${node.kind}`,
      `Remove "agent"`,
      "key",
    );
  }
  if (node.agent !== undefined && node.agent !== "none" && RESERVED_NAMES.has(node.agent)) {
    mistakes.add([...path, "agent"], `The name "${node.agent}" is taken by dyetrace itself`, "Choose another name");
  }
  const agent = node.kind !== "host" || node.agent === "none" ? null : (node.agent ?? name);
  const { kind } = node;
  const addresses =
    node.address === undefined ? node.addresses : [...new Set([node.address, ...(node.addresses ?? [])])];
  if (addresses !== undefined && kind !== "host" && kind !== "router" && node.querier !== true) {
    const hint = "Remove them, make it a router, or set querier: true";
    mistakes.add(
      [...path, node.address === undefined ? "addresses" : "address"],
      `Only hosts, routers and switches that query have addresses, and "${name}" is of kind ${kind}`,
      hint,
      "key",
    );
  }
  const bssids = readBssids(node, path, mistakes);
  const membershipTimeMs = readMembershipTime(node, path, mistakes);
  const radio = node.radio === undefined ? null : readRadio(node.radio, kind, [...path, "radio"], mistakes);
  return {
    name,
    kind,
    isQuerier: node.querier === true,
    agent,
    ...(addresses === undefined ? {} : { addresses }),
    ...(membershipTimeMs === null ? {} : { membershipTimeMs }),
    ...(bssids === null ? {} : { bssids }),
    ...(radio === null ? {} : { radio }),
    ...readTalk(node, path, mistakes),
  };
}

function checkNodes(nodes: readonly SiteNode[], hasVlans: boolean, mistakes: FileMistakes): void {
  if (!nodes.some((node) => node.kind === "host")) {
    mistakes.add(
      ["nodes"],
      "The plan has no host",
      "Add the hosts that carry agents, for example tower: { kind: host }",
      "key",
    );
  }
  const hostOf = new Map<string, string>();
  let querier: string | null = null;
  for (const { name, agent, isQuerier } of nodes) {
    if (isQuerier && querier !== null && !hasVlans) {
      const message = `"${name}" is the second querier: "${querier}" is one already`;
      mistakes.add(["nodes", name, "querier"], message, "Keep the one that the site really elects", "key");
    } else if (isQuerier) querier = name;
    if (agent === null) continue;
    const other = hostOf.get(agent);
    if (other === undefined) hostOf.set(agent, name);
    else
      mistakes.add(
        ["nodes", name],
        `The hosts "${other}" and "${name}" carry the same agent "${agent}"`,
        "Rename one agent",
        "key",
      );
  }
}

function readLink(
  link: SitePlanLink,
  index: number,
  nodes: ReadonlyMap<string, SiteNode>,
  names: ReadonlySet<string>,
  vlans: ReadonlyMap<number, SiteVlan> | null,
  mistakes: FileMistakes,
): SiteLink[] {
  const path: DataPath = ["links", index];
  const ends =
    typeof link === "string"
      ? readEndsOfText(link, path, names, mistakes)
      : readEnds(link.between, path, names, mistakes);
  const speedText = typeof link === "string" ? undefined : link.speed;
  const speedBps = speedText === undefined ? null : mistakes.attempt([...path, "speed"], () => parseRateBps(speedText));
  if (speedBps === 0)
    mistakes.add([...path, "speed"], "A link of speed 0 carries nothing", "Remove the link, or its speed");
  if (ends === null) return [];
  const [a, b] = ends;
  if (a.node === b.node) {
    mistakes.add(path, `This link leads from "${a.node}" back to itself`, "Name two different nodes");
    return [];
  }
  const { vlan, cost, blocked } = typeof link === "string" ? {} : link;
  const kinds = [a, b].flatMap(({ node }) => nodes.get(node) ?? []);
  const crossing = readLinkVlans(vlan, kinds, path, vlans, mistakes);
  if (cost !== undefined && !kinds.some(({ kind }) => kind === "router")) {
    mistakes.add([...path, "cost"], "Only routers count costs, and this link leads to none", "Remove the cost", "key");
  }
  return [
    {
      index,
      a,
      b,
      speedBps,
      ...(crossing === null ? {} : { vlans: crossing }),
      ...(cost === undefined ? {} : { cost }),
      ...(blocked === true ? { isBlocked: true } : {}),
    },
  ];
}

type Ends = readonly [PortRef, PortRef];

function readEndsOfText(text: string, path: DataPath, names: ReadonlySet<string>, mistakes: FileMistakes): Ends | null {
  const ends = parseLinkText(text);
  if (ends === null) {
    mistakes.add(path, `"${shown(text)}" is not a link`, "Write node:port -- node:port, for example core:1 -- hall:24");
    return null;
  }
  const [a, b] = ends.map((end) => readPortRef(end, path, names, mistakes));
  return a === undefined || b === undefined || a === null || b === null ? null : [a, b];
}

function readEnds(
  between: readonly string[],
  path: DataPath,
  names: ReadonlySet<string>,
  mistakes: FileMistakes,
): Ends | null {
  const [a, b] = between.map((end, side) => readPortRef(end, [...path, "between", side], names, mistakes));
  return a === undefined || b === undefined || a === null || b === null ? null : [a, b];
}

function checkPorts(links: readonly SiteLink[], mistakes: FileMistakes): void {
  const linkAt = new Map<string, number>();
  for (const { index, a, b } of links) {
    for (const { node, port } of [a, b]) {
      const key = `${node}:${port}`;
      const other = linkAt.get(key);
      if (other === undefined) linkAt.set(key, index);
      else
        mistakes.add(
          ["links", index],
          `The port ${key} has a link already: entry ${other + 1} of the list`,
          "Use another port",
        );
    }
  }
}
