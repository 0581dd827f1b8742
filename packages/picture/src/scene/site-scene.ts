import { buildSiteGraph, byDesignReach, hostOfAgent, nodeOfSource, type SiteGraph, unfoldVlans } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import type { WayEvidence } from "../layout/choose-ways.ts";
import type { SiteTree, TreeNode } from "../layout/site-tree.ts";
import { type Channel, channelWaters } from "../water/channel-water.ts";
import { type HostWater, waterInReport } from "../water/host-water.ts";

/** The site as frames see it: a switch or trunk that several VLANs share stands there once for each. */
export function graphOf({ site, nodes, links, vlans }: PlanDrawing): SiteGraph {
  const byNumber = vlans === undefined ? null : new Map(vlans.map((vlan) => [vlan.number, vlan]));
  return unfoldVlans(buildSiteGraph(site, nodes, links, byNumber));
}

/**
 * What a report tells of the ways of a stream.
 * @param finding the one whose suspects matter; absent: those of all
 */
export function wayEvidence(
  graph: SiteGraph,
  report: RunReport,
  stream: string,
  finding?: RunReport["findings"][number],
): WayEvidence {
  const hostsOf = (isWanted: (received: number) => boolean): readonly string[] =>
    report.receipts.flatMap((receipt) =>
      receipt.stream === stream && receipt.received !== null && isWanted(receipt.received)
        ? (hostOfAgent(graph, receipt.listener) ?? [])
        : [],
    );
  return {
    cleared: report.segments.flatMap(({ id, status }) => (status === "ok" ? [id] : [])),
    suspects: (finding === undefined ? report.findings : [finding]).flatMap(({ suspects }) => suspects),
    reached: hostsOf((received) => received > 0),
    silent: hostsOf((received) => received === 0),
  };
}

/**
 * Where to hang up the site: for a stream where it comes from, null where the plan does not have that; without a stream at the
 * querier, failing that at the first host with an agent.
 */
export function headOf(graph: SiteGraph, source: string | null): string | null {
  if (source !== null) return nodeOfSource(graph, source);
  const nodes = [...graph.nodes.values()];
  return (
    (nodes.find(({ isQuerier }) => isQuerier) ?? nodes.find(({ agent }) => agent !== null) ?? nodes[0])?.name ?? null
  );
}

/** Agents at and below the places that a finding suspects. */
export function agentsBehind(tree: SiteTree, suspects: readonly string[]): ReadonlySet<string> {
  const agents = new Set<string>();
  const visit = ({ node, children }: TreeNode): void => {
    if (node.agent !== null) agents.add(node.agent);
    for (const child of children) visit(child);
  };
  for (const place of suspects.flatMap((suspect) => tree.placesOf(suspect))) {
    const top = tree.lowerEnd.get(place) ?? tree.byName.get(place);
    if (top !== undefined) visit(top);
  }
  return agents;
}

/** Everything that the map shows of one stream, or of nothing yet. */
export interface SiteScene {
  readonly channels: ReadonlyMap<string, Channel>;
  readonly hosts: ReadonlyMap<string, HostWater>;
  /** What was measured below a node, UDP payload bits per second, by its name; empty where only the plan's rate is known. */
  readonly ratesBps: ReadonlyMap<string, number>;
}

/** Whoever has one of these got something. */
const CAME: ReadonlySet<HostWater["kind"]> = new Set(["whole", "thins", "some", "blocked", "uninvited"]);

/** The plan alone: no water anywhere. */
export const planScene = (tree: SiteTree): SiteScene => sceneOf(tree, () => null);

/** @param tree hung up by the stream's source */
export function reportScene(graph: SiteGraph, tree: SiteTree, report: RunReport, streamName: string): SiteScene {
  const stream = report.streams.find(({ name }) => name === streamName);
  const alike = new Set(report.streams.filter(({ group }) => group === stream?.group).map(({ name }) => name));
  const members = report.receipts
    .filter((receipt) => alike.has(receipt.stream))
    .flatMap((receipt) => hostOfAgent(graph, receipt.listener) ?? []);
  const reached = byDesignReach(graph, tree.root.node.name, members).nodes;
  const waterOf = (agent: string, host: string) => waterInReport(report, streamName, agent, host, reached.has(host));
  return sceneOf(tree, waterOf, stream?.source);
}

/**
 * @param waterOf what reached an agent on a host; null where it has nothing to do with the stream
 * @param source of the stream that the tree is hung up by; one without an agent says nothing: that it sends shows where
 *   something comes
 */
export function sceneOf(
  tree: SiteTree,
  waterOf: (agent: string, host: string) => HostWater | null,
  source?: string,
): SiteScene {
  const hosts = new Map<string, HostWater>();
  for (const { node } of tree.byName.values()) {
    const water = node.agent === null ? null : waterOf(node.agent, node.name);
    if (water !== null) hosts.set(node.name, water);
  }
  const { node: head } = tree.root;
  if (source !== undefined && head.agent === null) {
    hosts.set(head.name, { kind: [...hosts.values()].some(({ kind }) => CAME.has(kind)) ? "source" : "unknown" });
  }
  const channels = channelWaters(tree, ({ node }) => hosts.get(node.name) ?? null);
  return { channels, hosts, ratesBps: new Map() };
}
