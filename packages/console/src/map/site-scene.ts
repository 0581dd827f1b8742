import { buildSiteGraph, byDesignReach, hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { RunOutline, RunReport } from "@dyetrace/wire";
import type { PlanDrawing } from "../console-api.ts";
import type { LiveHistory } from "../state/live-history.ts";
import { type Channel, channelWaters } from "./channel-water.ts";
import { type HostWater, waterInReport, waterLive } from "./host-water.ts";
import { hangUp, type SiteTree, type TreeNode } from "./site-tree.ts";

export const graphOf = (drawing: PlanDrawing): SiteGraph => buildSiteGraph(drawing.site, drawing.nodes, drawing.links);

/** Everything that the map shows of one stream, or of nothing yet. */
export interface SiteScene {
  readonly tree: SiteTree;
  readonly channels: ReadonlyMap<string, Channel>;
  readonly hosts: ReadonlyMap<string, HostWater>;
  /** What was measured below a node, UDP payload bits per second, by its name; empty where only the plan's rate is known. */
  readonly ratesBps: ReadonlyMap<string, number>;
}

/** The plan alone: no water anywhere. @param head name of the node at the head */
export function planScene(graph: SiteGraph, head: string): SiteScene | null {
  const tree = hangUp(graph, head);
  return tree === null
    ? null
    : { tree, channels: channelWaters(tree, () => null), hosts: new Map(), ratesBps: new Map() };
}

export function reportScene(graph: SiteGraph, report: RunReport, streamName: string): SiteScene | null {
  const stream = report.streams.find(({ name }) => name === streamName);
  if (stream === undefined) return null;
  const source = hostOfAgent(graph, stream.source) ?? stream.source;
  const members = report.receipts
    .filter((receipt) => report.streams.some(({ name, group }) => name === receipt.stream && group === stream.group))
    .flatMap((receipt) => hostOfAgent(graph, receipt.listener) ?? []);
  const reached = byDesignReach(graph, source, members).nodes;
  return scene(graph, source, (agent, host) => waterInReport(report, streamName, agent, reached.has(host)));
}

export function liveScene(
  graph: SiteGraph,
  stream: RunOutline["streams"][number],
  history: LiveHistory,
  nowSecond: number,
): SiteScene | null {
  const source = hostOfAgent(graph, stream.source) ?? stream.source;
  const live = scene(graph, source, (agent) => waterLive(history, stream, agent, nowSecond));
  if (live === null) return null;
  const ratesBps = new Map<string, number>();
  const measure = (node: TreeNode): number => {
    const own = node.node.agent === null ? 0 : (history.strip(node.node.agent, stream.streamId)?.last?.rateBps ?? 0);
    const rateBps = Math.max(own, ...node.children.map(measure));
    if (rateBps > 0) ratesBps.set(node.node.name, rateBps);
    return rateBps;
  };
  measure(live.tree.root);
  return { ...live, ratesBps };
}

function scene(
  graph: SiteGraph,
  head: string,
  waterOf: (agent: string, host: string) => HostWater | null,
): SiteScene | null {
  const tree = hangUp(graph, head);
  if (tree === null) return null;
  const hosts = new Map<string, HostWater>();
  for (const { name, agent } of graph.nodes.values()) {
    const water = agent === null ? null : waterOf(agent, name);
    if (water !== null) hosts.set(name, water);
  }
  const channels = channelWaters(tree, ({ node }) => hosts.get(node.name) ?? null);
  return { tree, channels, hosts, ratesBps: new Map() };
}

/** Where to hang up a plan that nothing has run on: its first host with an agent. */
export const firstHead = (graph: SiteGraph): string | null =>
  ([...graph.nodes.values()].find(({ agent }) => agent !== null) ?? [...graph.nodes.values()][0])?.name ?? null;
