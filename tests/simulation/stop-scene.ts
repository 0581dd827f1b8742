import type { SiteGraph } from "@dyetrace/site";
import type { Finding } from "../../packages/locate/src/finding/finding.ts";
import { locate } from "../../packages/locate/src/locate.ts";
import { indexSite } from "../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, sourceTree } from "../../packages/locate/src/site/source-tree.ts";
import { randomSite } from "./random-site.ts";
import { drawInteger, drawOne, drawSome, type Random } from "./seeded-random.ts";
import { simulateRun } from "./simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "./simulated-fault.ts";

/** A random site with random sources and agents on it, and what could fail there. */
export interface StopScene {
  readonly graph: SiteGraph;
  readonly streams: readonly SimulatedStream[];
  readonly candidates: readonly SimulatedFault[];
}

/** Enough for a window of 200 packets at the end. */
const PACKETS = 1_000;

/** @param mostSources the more sources, the more segments one fault can be pinned to */
export function drawStopScene(random: Random, leastNodes: number, mostNodes: number, mostSources = 5): StopScene {
  const graph = randomSite(random, drawInteger(random, leastNodes, mostNodes));
  const hosts = [...graph.nodes.values()].filter((node) => node.kind === "host").map((node) => node.name);
  const sources = drawSome(random, hosts, drawInteger(random, 1, Math.min(mostSources, hosts.length - 1)));
  const agents = drawSome(random, hosts, Math.max(2, Math.ceil(hosts.length * (0.4 + 0.6 * random()))));
  const quietShare = random() < 0.3 ? 0.15 : 0;
  const silentAgents = agents.filter(() => random() < quietShare);
  const groupsPerSource = random() < 0.3 ? 2 : 1;
  const streams = sources.flatMap((source, s) =>
    Array.from({ length: groupsPerSource }, (_, g): SimulatedStream => {
      const others = (names: readonly string[]): string[] => names.filter((name) => name !== source);
      return {
        stream: `stream-${s}-${g}`,
        group: `233.252.0.${1 + s * groupsPerSource + g}`,
        source,
        listeners: others(agents.filter((agent) => !silentAgents.includes(agent))),
        silentAgents: others(silentAgents),
        packets: PACKETS,
      };
    }),
  );
  return { graph, streams, candidates: possibleFaults(graph, streams) };
}

/** Everything on the ways from sources to agents that could stop a stream. */
function possibleFaults(graph: SiteGraph, streams: readonly SimulatedStream[]): SimulatedFault[] {
  const site = indexSite(graph);
  const faults = new Map<string, SimulatedFault>();
  const add = (fault: SimulatedFault, group = ""): void => {
    faults.set(`${fault.kind} ${truthOf(fault)} ${group}`, fault);
  };
  for (const { source, listeners, group } of streams) {
    const tree = sourceTree(site, site.nodeNumber.get(source) ?? -1);
    add({ kind: "dead-sender", host: source });
    for (const listener of listeners) {
      add({ kind: "dead-receiver", host: listener });
      for (const node of nodesDownTo(tree, site.nodeNumber.get(listener) ?? -1)) {
        const segment = tree.into[node] ?? -1;
        const id = site.segments[segment]?.id ?? "";
        const reverse = site.segments[site.reverse[segment] ?? -1]?.id ?? "";
        add({ kind: "dead-segment", segment: id });
        add({ kind: "dead-segment", segment: reverse });
        add({ kind: "segment-group", segment: id, group }, group);
        const name = site.nodes[node];
        if (name === undefined || name.kind === "host") continue;
        add({ kind: "dead-node", node: name.name });
        add({ kind: "node-group", node: name.name, group }, group);
      }
    }
  }
  return [...faults.values()];
}

/** The segment id or node name that a finding must have among its suspects. */
export function truthOf(fault: SimulatedFault): string {
  switch (fault.kind) {
    case "dead-node":
    case "node-group":
    case "flooding-node":
      return fault.node;
    case "dead-sender":
    case "dead-receiver":
      return fault.host;
    case "outage":
      return fault.place;
    case "dead-segment":
    case "segment-group":
    case "policer":
    case "lost-reports":
    case "size-limit":
    case "loss":
    case "flooding-port":
      return fault.segment;
  }
}

/** What came of one scene with faults in it. */
export interface StopOutcome {
  readonly scene: StopScene;
  readonly faults: readonly SimulatedFault[];
  readonly findings: readonly Finding[];
  /** Faults that have their true place among the suspects of some finding. */
  readonly found: readonly SimulatedFault[];
  /** Findings without a true place among their suspects. */
  readonly falseBlame: readonly Finding[];
  /**
   * For a single dead segment or node: whether one finding names it, and nobody whom the plan can tell from it. Null for
   * other faults.
   */
  readonly isSharp: boolean | null;
  /** Coverage says that the plan can tell the only fault from everything else. */
  readonly isPinnable: boolean;
}

/**
 * Draws `count` faults, puts them in together, and compares. Every one of them is visible: without it somebody would
 * have received something. A fault in the shadow of another leaves no trace that could be scored.
 * @returns null when the scene has too few such faults
 */
export function playStops(scene: StopScene, count: number, random: Random): StopOutcome | null {
  const faults: SimulatedFault[] = [];
  for (let tries = 0; faults.length < count && tries < 50 * count; tries++) {
    const fault = drawOne(random, scene.candidates);
    const isNew = faults.every((other) => truthOf(other) !== truthOf(fault));
    if (isNew && areAllVisible(scene, [...faults, fault], random)) faults.push(fault);
  }
  if (faults.length < count) return null;
  const conclusion = locate(scene.graph, simulateRun(scene.graph, scene.streams, faults, random));
  const { findings, coverage } = conclusion;
  const truths = faults.map(truthOf);
  const [truth = ""] = truths;
  const alike = [truth, ...coverage.ambiguousSets.filter((set) => set.includes(truth)).flat()];
  const isWhole = faults[0]?.kind === "dead-segment" || faults[0]?.kind === "dead-node";
  return {
    scene,
    faults,
    findings,
    found: faults.filter((fault) => findings.some((finding) => finding.suspects.includes(truthOf(fault)))),
    falseBlame: findings.filter((finding) => !truths.some((truth) => finding.suspects.includes(truth))),
    isSharp: isWhole && count === 1 ? findings.length === 1 && isWithin(findings[0], alike) : null,
    isPinnable: isWhole && count === 1 && coverage.pinned.includes(truth),
  };
}

const isWithin = (finding: Finding | undefined, alike: readonly string[]): boolean =>
  finding?.suspects.every((suspect) => alike.includes(suspect)) ?? false;

function areAllVisible({ graph, streams }: StopScene, faults: readonly SimulatedFault[], random: Random): boolean {
  const silent = (some: readonly SimulatedFault[]): number =>
    simulateRun(graph, streams, some, random).listeners.filter((l) => l.state === "reported" && l.receivedPackets === 0)
      .length;
  const all = silent(faults);
  return faults.every((fault) => silent(faults.filter((other) => other !== fault)) < all);
}
