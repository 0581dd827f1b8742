import type { SiteGraph } from "@dyetrace/site";
import { indexSite } from "../../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, sourceTree } from "../../../packages/locate/src/site/source-tree.ts";
import { randomSite } from "../random-site.ts";
import { drawInteger, drawSome, type Random } from "../seeded-random.ts";
import type { SimulatedStream } from "../simulated-fault.ts";

/** A site with agents on it and streams between them. */
export interface ClassScene {
  readonly graph: SiteGraph;
  /** Hosts with an agent. */
  readonly agents: readonly string[];
  readonly streams: readonly SimulatedStream[];
  /** Segments and forwarding nodes that data of some stream crosses on its way to a listener. */
  readonly places: readonly string[];
  readonly durationMs: number;
}

export interface ClassSceneOptions {
  readonly packets?: number;
  readonly packetsPerSecond?: number;
  readonly leastNodes?: number;
  readonly mostNodes?: number;
  readonly leastSources?: number;
  readonly mostSources?: number;
  /** Share of the agents that do not join a stream and watch instead. */
  readonly bystanderShare?: number;
  readonly joinedFromMs?: number;
  /** All sources send to one group. */
  readonly isOneGroup?: boolean;
}

const FEWEST_AGENTS = 4;

export function drawClassScene(random: Random, options: ClassSceneOptions = {}): ClassScene {
  for (let tries = 0; tries < 1_000; tries++) {
    const scene = sceneOn(randomSite(random, drawSize(random, options)), random, options);
    if (scene !== null) return scene;
  }
  throw new RangeError("No site with room for these agents was drawn in 1,000 tries");
}

const drawSize = (random: Random, { leastNodes = 8, mostNodes = 60 }: ClassSceneOptions): number =>
  drawInteger(random, leastNodes, mostNodes);

/** @returns null when the site has too few hosts, or some stream nobody to listen to it */
export function sceneOn(graph: SiteGraph, random: Random, options: ClassSceneOptions = {}): ClassScene | null {
  const { packets = 1_000, packetsPerSecond = 100, leastSources = 1, mostSources = 4 } = options;
  const hosts = [...graph.nodes.values()].filter((node) => node.kind === "host").map((node) => node.name);
  const agents = drawSome(random, hosts, Math.max(FEWEST_AGENTS, Math.ceil(hosts.length * (0.5 + 0.5 * random()))));
  if (agents.length < Math.max(FEWEST_AGENTS, leastSources + 1)) return null;
  const sources = agents.slice(0, drawInteger(random, leastSources, Math.min(mostSources, agents.length - 1)));
  const streams = sources.map((source, i): SimulatedStream => {
    const others = agents.filter((agent) => agent !== source);
    const bystanders = others.filter(() => random() < (options.bystanderShare ?? 0));
    return {
      stream: `stream-${i}`,
      group: `233.252.0.${options.isOneGroup === true ? 1 : i + 1}`,
      source,
      listeners: others.filter((agent) => !bystanders.includes(agent)),
      bystanders,
      packets,
      packetsPerSecond,
      ...(options.joinedFromMs === undefined ? {} : { joinedFromMs: options.joinedFromMs }),
    };
  });
  if (streams.some(({ listeners }) => listeners.length < 2)) return null;
  const durationMs = (packets * 1000) / packetsPerSecond;
  return { graph, agents, streams, places: placesOnTheWay(graph, streams), durationMs };
}

function placesOnTheWay(graph: SiteGraph, streams: readonly SimulatedStream[]): string[] {
  const site = indexSite(graph);
  const places = new Set<string>();
  for (const { source, listeners } of streams) {
    const tree = sourceTree(site, site.nodeNumber.get(source) ?? -1);
    for (const listener of listeners) {
      for (const node of nodesDownTo(tree, site.nodeNumber.get(listener) ?? -1)) {
        places.add(site.segments[tree.into[node] ?? -1]?.id ?? "");
        const { name = "", kind } = site.nodes[node] ?? {};
        if (kind !== "host") places.add(name);
      }
    }
  }
  return [...places];
}

/** The segments among places. */
export const segmentsAmong = (places: readonly string[]): string[] => places.filter((place) => place.includes(">"));

/** Of some listeners, those to whom what comes from `source` crosses a place. */
export function listenersBehind(
  graph: SiteGraph,
  { source, listeners }: Pick<SimulatedStream, "source" | "listeners">,
  place: string,
): string[] {
  const site = indexSite(graph);
  const tree = sourceTree(site, site.nodeNumber.get(source) ?? -1);
  return listeners.filter((listener) =>
    nodesDownTo(tree, site.nodeNumber.get(listener) ?? -1).some(
      (node) => site.nodes[node]?.name === place || site.segments[tree.into[node] ?? -1]?.id === place,
    ),
  );
}
