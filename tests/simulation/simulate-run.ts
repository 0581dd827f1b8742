import { countRanges, subtractRanges } from "@dyetrace/measure";
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
import { sourceTree } from "../../packages/locate/src/site/source-tree.ts";
import { absentNumbers } from "./absent-numbers.ts";
import type { Random } from "./seeded-random.ts";
import {
  JOINED_FROM_MS,
  PACKETS_PER_SECOND,
  PAYLOAD_BYTES,
  type SimulatedFault,
  type SimulatedStream,
} from "./simulated-fault.ts";
import { simulatedReach } from "./simulated-reach.ts";

/**
 * What agents would report from a site with faults in it, on paper: packets run down the trees, lose some on the way,
 * and open or closed switch ports decide who else sees them. It shares the site's numbering with the localiser and
 * nothing of its reasoning.
 */
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
      joinedFromMs: sim.joinedFromMs ?? JOINED_FROM_MS,
      joinedToMs: null,
      receivedPackets: reports ? countRanges(present) : 0,
      window: reports ? [0, sim.packets - 1] : null,
      lost: reports ? lost : [],
      hostLostPackets: reports ? 0 : null,
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

function numberOf(site: SiteIndex, name: string): number {
  const number = site.nodeNumber.get(name);
  if (number === undefined) throw new RangeError(`The site has no node ${name}`);
  return number;
}
