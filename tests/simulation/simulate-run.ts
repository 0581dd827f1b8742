import { countRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { SiteGraph } from "@dyetrace/site";
import {
  type BystanderObservation,
  type ListenerObservation,
  type RunObservations,
  type SendStep,
  type SeqRange,
  STANDARD_TIMERS,
  type StreamObservation,
} from "../../packages/locate/src/run/run-observations.ts";
import { indexSite, type SiteIndex } from "../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, type SourceTree, sourceTree } from "../../packages/locate/src/site/source-tree.ts";
import type { Random } from "./seeded-random.ts";

/**
 * What agents would report from a site with faults in it, on paper: packets run down the trees, lose some on the way,
 * and open or closed switch ports decide who else sees them. It shares the site's numbering with the localiser and
 * nothing of its reasoning.
 */
export interface SimulatedStream {
  readonly stream: string;
  readonly group: string;
  readonly source: string;
  readonly listeners: readonly string[];
  /** Joined hosts whose agents say nothing. */
  readonly silentAgents?: readonly string[];
  readonly bystanders?: readonly string[];
  readonly packets: number;
  readonly payloadBytes?: number;
  readonly packetsPerSecond?: number;
}

export type SimulatedFault =
  /** Everything on one direction of a link is lost, data and membership reports. */
  | { readonly kind: "dead-segment"; readonly segment: string; readonly fromMs?: number }
  | { readonly kind: "dead-node"; readonly node: string; readonly fromMs?: number }
  | { readonly kind: "dead-sender"; readonly host: string }
  | { readonly kind: "dead-receiver"; readonly host: string }
  /** One group is stopped on a segment or in a node. */
  | { readonly kind: "segment-group"; readonly segment: string; readonly group: string }
  | { readonly kind: "node-group"; readonly node: string; readonly group: string }
  /** Membership reports that travel along `segment` are lost; data on it is not. */
  | { readonly kind: "lost-reports"; readonly segment: string }
  | { readonly kind: "size-limit"; readonly segment: string; readonly largestBytes: number }
  /** Mean loss; with `burstPackets` over 1 losses come in runs of that mean length. */
  | { readonly kind: "loss"; readonly segment: string; readonly ratio: number; readonly burstPackets?: number }
  /** The switch sends frames out of all its ports, or of one that should be closed. */
  | { readonly kind: "flooding-node"; readonly node: string }
  | { readonly kind: "flooding-port"; readonly segment: string };

const PACKETS_PER_SECOND = 100;
const PAYLOAD_BYTES = 1316;

export function simulateRun(
  graph: SiteGraph,
  streams: readonly SimulatedStream[],
  faults: readonly SimulatedFault[],
  random: Random,
): RunObservations {
  const site = indexSite(graph);
  const results = streams.map((stream) => simulateStream(site, stream, faults, random));
  return {
    streams: results.map((r) => r.stream),
    listeners: results.flatMap((r) => r.listeners),
    bystanders: results.flatMap((r) => r.bystanders),
    queriers: [],
    membership: [],
    capabilityGaps: [],
    timers: STANDARD_TIMERS,
  };
}

interface StreamResult {
  readonly stream: StreamObservation;
  readonly listeners: readonly ListenerObservation[];
  readonly bystanders: readonly BystanderObservation[];
}

function simulateStream(
  site: SiteIndex,
  sim: SimulatedStream,
  faults: readonly SimulatedFault[],
  random: Random,
): StreamResult {
  const tree = sourceTree(site, numberOf(site, sim.source));
  const members = new Set([...sim.listeners, ...(sim.silentAgents ?? [])].map((name) => numberOf(site, name)));
  const absent = absentNumbers(site, tree, sim, members, faults, random);
  const perSecond = sim.packetsPerSecond ?? PACKETS_PER_SECOND;
  const lastMs = ((sim.packets - 1) * 1000) / perSecond;
  const payloadBytes = sim.payloadBytes ?? PAYLOAD_BYTES;
  const rateBps = payloadBytes * 8 * perSecond;
  const step: SendStep = {
    firstSeq: 0,
    lastSeq: sim.packets - 1,
    startMs: 0,
    endMs: lastMs,
    payloadBytes,
    rateBps,
  };
  const listenerOf = (host: string, reports: boolean): ListenerObservation => {
    const lost = absent.get(numberOf(site, host)) ?? [[0, sim.packets - 1]];
    const present = subtractRanges([[0, sim.packets - 1]], lost);
    return {
      stream: sim.stream,
      host,
      state: reports ? "reported" : "no-report",
      joinedFromMs: -3_000,
      joinedToMs: null,
      receivedPackets: reports ? countRanges(present) : 0,
      window: reports ? [0, sim.packets - 1] : null,
      lost: reports ? lost : [],
      hostLostPackets: reports ? 0 : null,
      firstArrivalMs: reports && present[0] !== undefined ? (present[0][0] * 1000) / perSecond : null,
      lastArrivalMs: reports && present.length > 0 ? ((present.at(-1)?.[1] ?? 0) * 1000) / perSecond : null,
      silences: [],
      ttlSeen: null,
      dscpSeen: null,
      unicastRatio: null,
      nicFrames: null,
      foreignPackets: null,
      companion: null,
    };
  };
  const hasBystanders = (sim.bystanders ?? []).length > 0;
  const reach = hasBystanders ? simulatedReach(site, tree, members, faults) : new Set<number>();
  const bystanders = (sim.bystanders ?? []).map((host): BystanderObservation => {
    const node = numberOf(site, host);
    const all: SeqRange[] = [[0, sim.packets - 1]];
    const ranges = reach.has(node) ? subtractRanges(all, absent.get(node) ?? all) : [];
    const [first, last] = [ranges[0]?.[0], ranges.at(-1)?.[1]];
    return {
      stream: sim.stream,
      host,
      canSee: true,
      frames: countRanges(ranges),
      ranges,
      firstMs: first === undefined ? null : (first * 1000) / perSecond,
      lastMs: last === undefined ? null : (last * 1000) / perSecond,
      isGroupUsedByHost: false,
    };
  });
  return {
    stream: {
      stream: sim.stream,
      group: sim.group,
      source: sim.source,
      ssm: false,
      sourceState: "sending",
      sentPackets: sim.packets,
      steps: [step],
      unsent: [],
      firstSentMs: 0,
      lastSentMs: lastMs,
      stalls: [],
      ttl: null,
      dscp: null,
    },
    listeners: [
      ...sim.listeners.map((host) => listenerOf(host, true)),
      ...(sim.silentAgents ?? []).map((host) => listenerOf(host, false)),
    ],
    bystanders,
  };
}

/** Numbers that do not reach each node of the tree, by node number. */
function absentNumbers(
  site: SiteIndex,
  tree: SourceTree,
  sim: SimulatedStream,
  members: ReadonlySet<number>,
  faults: readonly SimulatedFault[],
  random: Random,
): Map<number, SeqRange[]> {
  const perSecond = sim.packetsPerSecond ?? PACKETS_PER_SECOND;
  const all = (fromMs = 0): SeqRange[] => {
    const first = Math.max(0, Math.ceil((fromMs * perSecond) / 1000));
    return first < sim.packets ? [[first, sim.packets - 1]] : [];
  };
  const absent = new Map<number, SeqRange[]>();
  for (const node of tree.order) {
    const segment = site.segments[tree.into[node] ?? -1];
    const name = site.nodes[node]?.name;
    let missing = absent.get(tree.parent[node] ?? -1) ?? [];
    for (const fault of faults) {
      switch (fault.kind) {
        case "dead-segment":
          if (segment?.id === fault.segment || losesState(site, tree, members, node, fault.segment)) {
            missing = mergeSequenceRanges([...missing, ...all(fault.fromMs)]);
          }
          break;
        case "lost-reports":
          if (losesState(site, tree, members, node, fault.segment))
            missing = mergeSequenceRanges([...missing, ...all()]);
          break;
        case "dead-node":
          if (name === fault.node) missing = mergeSequenceRanges([...missing, ...all(fault.fromMs)]);
          break;
        case "dead-sender":
          if (node === tree.source && name === fault.host) missing = all();
          break;
        case "dead-receiver":
          if (node !== tree.source && name === fault.host) missing = all();
          break;
        case "segment-group":
          if (segment?.id === fault.segment && sim.group === fault.group) missing = all();
          break;
        case "node-group":
          if (name === fault.node && sim.group === fault.group) missing = all();
          break;
        case "size-limit":
          if (segment?.id === fault.segment && (sim.payloadBytes ?? PAYLOAD_BYTES) > fault.largestBytes)
            missing = all();
          break;
        case "loss":
          if (segment?.id === fault.segment) {
            missing = mergeSequenceRanges([
              ...missing,
              ...drawLosses(sim.packets, fault.ratio, fault.burstPackets ?? 1, random),
            ]);
          }
          break;
        case "flooding-node":
        case "flooding-port":
          break;
      }
    }
    absent.set(node, missing);
  }
  return absent;
}

/**
 * True when the port into `node` has no group state because every report from behind it crosses `lost` in the other
 * direction: then the nearest switch or router above, whose port this is, does not forward.
 */
function losesState(
  site: SiteIndex,
  tree: SourceTree,
  members: ReadonlySet<number>,
  node: number,
  lost: string,
): boolean {
  const above = site.nodes[tree.parent[node] ?? -1]?.kind;
  if (above !== "switch" && above !== "router") return false;
  const behind = [...members].filter((member) => nodesDownTo(tree, member).includes(node));
  return behind.length > 0 && behind.every((member) => crosses(site, tree, member, node, lost));
}

/** True when a report from `member` up to the port into `node` travels along the segment `lost`. */
function crosses(site: SiteIndex, tree: SourceTree, member: number, node: number, lost: string): boolean {
  const path = nodesDownTo(tree, member);
  return path.slice(path.indexOf(node)).some((step) => {
    const upwards = site.reverse[tree.into[step] ?? -1] ?? -1;
    return site.segments[upwards]?.id === lost;
  });
}

/** Lost numbers of one segment: a two-state chain (Gilbert 1960) that loses all packets in its bad state. */
export function drawLosses(packets: number, ratio: number, burstPackets: number, random: Random): SeqRange[] {
  const losses: [number, number][] = [];
  if (ratio <= 0) return losses;
  if (ratio >= 1) return [[0, packets - 1]];
  const leaveBad = 1 / burstPackets;
  const enterBad = burstPackets <= 1 ? ratio : (leaveBad * ratio) / (1 - ratio);
  const stay = (chance: number): number =>
    chance >= 1 ? 1 : 1 + Math.floor(Math.log(1 - random()) / Math.log(1 - chance));
  // Independent losses are runs of one, of which the next may follow at once.
  for (let at = stay(enterBad) - 1; at < packets; ) {
    const length = burstPackets <= 1 ? 1 : stay(leaveBad);
    const last = Math.min(packets - 1, at + length - 1);
    const open = losses.at(-1);
    if (open !== undefined && at <= open[1] + 1) open[1] = last;
    else losses.push([at, last]);
    at += length + (burstPackets <= 1 ? stay(enterBad) - 1 : stay(enterBad));
  }
  return losses;
}

/** Nodes that frames reach, over open ports and leaks. */
function simulatedReach(
  site: SiteIndex,
  tree: SourceTree,
  members: ReadonlySet<number>,
  faults: readonly SimulatedFault[],
): Set<number> {
  const reached = new Set([tree.source]);
  for (const node of tree.order.slice(1)) {
    const parent = tree.parent[node] ?? -1;
    const id = site.segments[tree.into[node] ?? -1]?.id;
    const above = site.nodes[parent];
    const leaks = faults.some(
      (fault) =>
        (fault.kind === "flooding-node" && fault.node === above?.name) ||
        (fault.kind === "flooding-port" && fault.segment === id),
    );
    if (reached.has(parent) && (leaks || isOpenByDesign(site, tree, members, node))) reached.add(node);
  }
  return reached;
}

function isOpenByDesign(site: SiteIndex, tree: SourceTree, members: ReadonlySet<number>, node: number): boolean {
  const parent = site.nodes[tree.parent[node] ?? -1];
  switch (parent?.kind) {
    case "switch": {
      // Within the layer-2 domain behind the port: a member, a router, or the querier.
      for (const at of tree.order) {
        const path = nodesDownTo(tree, at);
        const from = path.indexOf(node);
        if (from === -1) continue;
        const isBeyondRouter = path.slice(from, -1).some((step) => site.nodes[step]?.kind === "router");
        if (isBeyondRouter) continue;
        if (members.has(at) || site.nodes[at]?.kind === "router" || site.nodes[at]?.isQuerier === true) return true;
      }
      return false;
    }
    case "router":
      return [...members].some((member) => nodesDownTo(tree, member).includes(node));
    case "unmanaged":
    case "access-point":
      return true;
    case "host":
      return tree.parent[node] === tree.source;
    case undefined:
      return false;
  }
}

function numberOf(site: SiteIndex, name: string): number {
  const number = site.nodeNumber.get(name);
  if (number === undefined) throw new RangeError(`The site has no node ${name}`);
  return number;
}
