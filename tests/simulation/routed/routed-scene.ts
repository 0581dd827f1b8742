import type { SiteGraph } from "@dyetrace/site";
import {
  type BystanderObservation,
  type ListenerObservation,
  type QuerierObservation,
  type RunObservations,
  type SeqRange,
  STANDARD_TIMERS,
} from "../../../packages/locate/src/run/run-observations.ts";
import { drawInteger, drawOne, drawSome, type Random } from "../seeded-random.ts";
import type { Delivery, RoutedFaults, RoutedWorld } from "./routed-world.ts";

export interface RoutedStream {
  readonly stream: string;
  readonly group: string;
  readonly source: string;
  readonly listeners: readonly string[];
  readonly bystanders: readonly string[];
}

const PACKETS = 1_000;
const PACKETS_PER_SECOND = 100;
const TTL = 16;
const PAYLOAD_BYTES = 1316;

/** One to four streams from hosts of different VLANs as far as there are; every host with an agent joins or watches. */
export function drawStreams(graph: SiteGraph, random: Random): RoutedStream[] {
  const hosts = [...graph.nodes.values()].filter(({ kind }) => kind === "host").map(({ name }) => name);
  const agents = drawSome(random, hosts, Math.max(4, Math.ceil(hosts.length * (0.7 + 0.3 * random()))));
  const sources = drawSome(random, agents, drawInteger(random, 1, 4));
  const isShared = random() < 0.3;
  const watching = random() < 0.5 ? 0 : 0.3;
  return sources.map((source, i): RoutedStream => {
    const others = agents.filter((agent) => agent !== source);
    const bystanders = others.filter(() => random() < watching);
    return {
      stream: `stream-${i}`,
      group: `239.195.7.${isShared ? 1 : i + 1}`,
      source,
      listeners: others.filter((agent) => !bystanders.includes(agent)),
      bystanders,
    };
  });
}

/** What agents report of packets that are routed. @param faultyFromSeq before it the world is sound */
export function observeRouted(
  world: RoutedWorld,
  streams: readonly RoutedStream[],
  faults: RoutedFaults,
  random: Random,
  faultyFromSeq = 0,
): RunObservations {
  const membersOf = (group: string): string[] => [
    ...new Set(streams.filter((one) => one.group === group).flatMap(({ listeners }) => listeners)),
  ];
  const hasCompanions = random() < 0.5;
  const listeners: ListenerObservation[] = [];
  const bystanders: BystanderObservation[] = [];
  for (const one of streams) {
    const members = membersOf(one.group);
    const faulty = world.deliver(one.source, members, faults);
    const sound = faultyFromSeq === 0 ? faulty : world.deliver(one.source, members);
    for (const host of one.listeners) {
      const companion = hasCompanions
        ? { sentPackets: 20, receivedPackets: isUnicastGood(world, one.source, host, faults) ? 20 : 0 }
        : null;
      listeners.push(
        listenerOf(
          one.stream,
          host,
          presentRanges(sound, faulty, host, faultyFromSeq),
          lastHops(sound, faulty, host),
          companion,
        ),
      );
    }
    for (const host of one.bystanders) {
      // Its own stream of the same group it has joined; then its frames are counted there.
      if (members.includes(host)) continue;
      bystanders.push(bystanderOf(one.stream, host, presentRanges(sound, faulty, host, faultyFromSeq)));
    }
  }
  const lastMs = ((PACKETS - 1) * 1000) / PACKETS_PER_SECOND;
  const step = { firstSeq: 0, lastSeq: PACKETS - 1, startMs: 0, endMs: lastMs, payloadBytes: PAYLOAD_BYTES };
  return {
    streams: streams.map(({ stream, group, source }) => ({
      stream,
      group,
      source,
      ssm: false,
      sourceState: "sending",
      sentPackets: PACKETS,
      steps: [{ ...step, rateBps: PAYLOAD_BYTES * 8 * PACKETS_PER_SECOND }],
      unsent: [],
      firstSentMs: 0,
      lastSentMs: lastMs,
      stalls: [],
      ttl: TTL,
      dscp: 0,
    })),
    listeners,
    bystanders,
    queriers: queriersHeard(world, streams, faults, lastMs, random),
    membership: [],
    timers: STANDARD_TIMERS,
  };
}

const ALL: readonly SeqRange[] = [[0, PACKETS - 1]];

function presentRanges(sound: Delivery, faulty: Delivery, host: string, fromSeq: number): SeqRange[] {
  const [before, after] = [sound.hops.has(host) && fromSeq > 0, faulty.hops.has(host)];
  if (before && after) return [...ALL];
  if (before) return [[0, fromSeq - 1]];
  return after ? [[fromSeq, PACKETS - 1]] : [];
}

const lastHops = (sound: Delivery, faulty: Delivery, host: string): number | null =>
  faulty.hops.get(host) ?? sound.hops.get(host) ?? null;

function listenerOf(
  stream: string,
  host: string,
  present: readonly SeqRange[],
  hops: number | null,
  companion: ListenerObservation["companion"],
): ListenerObservation {
  const [first, last] = present[0] ?? [0, -1];
  const lost = [[0, first - 1] as const, [last + 1, PACKETS - 1] as const].filter(([from, to]) => from <= to);
  return {
    stream,
    host,
    state: "reported",
    joinedFromMs: -3_000,
    joinedToMs: null,
    receivedPackets: last - first + 1,
    window: [0, PACKETS - 1],
    lost: present.length === 0 ? ALL : lost,
    hostLostPackets: 0,
    lastArrivalMs: present.length === 0 ? null : (last * 1000) / PACKETS_PER_SECOND,
    silences: [],
    ttlSeen: present.length === 0 || hops === null ? null : TTL - hops,
    dscpSeen: present.length === 0 ? null : 0,
    unicastRatio: present.length === 0 ? null : 0,
    nicFrames: last - first + 1,
    foreignPackets: 0,
    companion,
  };
}

function bystanderOf(stream: string, host: string, present: readonly SeqRange[]): BystanderObservation {
  const [first, last] = present[0] ?? [0, -1];
  const isSeen = present.length > 0;
  return {
    stream,
    host,
    canSee: true,
    frames: last - first + 1,
    ranges: present,
    firstMs: isSeen ? (first * 1000) / PACKETS_PER_SECOND : null,
    lastMs: isSeen ? (last * 1000) / PACKETS_PER_SECOND : null,
    isGroupUsedByHost: false,
  };
}

/** Unicast takes the routes to the listener, which are those back from it: wrong routes to a source do not hinder it. */
function isUnicastGood(world: RoutedWorld, source: string, host: string, { dead }: RoutedFaults): boolean {
  const { crossed } = world.deliver(source, [host]);
  return ![...crossed].some((id) => dead?.has(id));
}

/** General queries of each VLAN's querier, in half of the runs one in time. */
function queriersHeard(
  world: RoutedWorld,
  streams: readonly RoutedStream[],
  { dead }: RoutedFaults,
  lastMs: number,
  random: Random,
): QuerierObservation[] {
  const hosts = new Set(streams.flatMap(({ source, listeners, bystanders }) => [source, ...listeners, ...bystanders]));
  const isAnyAsked = random() < 0.5;
  return [...hosts].map((host): QuerierObservation => {
    const [segment] = world.site.outgoing.get(host) ?? [];
    const vlan = segment?.link.vlans?.[0] ?? -1;
    const querier = world.site.vlans?.get(vlan)?.querier ?? "";
    const at = [querier, `${querier} vlan ${vlan}`].find((name) => world.site.nodes.has(name)) ?? querier;
    const way = world.wayInDomain(at, host, world.homeOf(host));
    const isHeard = isAnyAsked && way.length > 0 && !way.some(({ id }) => dead?.has(id));
    const own = {
      address: `10.78.${vlan}.254`,
      family: 4 as const,
      version: 3,
      queries: 1,
      firstMs: 2_000,
      lastMs: 2_000,
    };
    return { host, canHear: true, watchedFromMs: -3_000, watchedToMs: lastMs, queriers: isHeard ? [own] : [] };
  });
}

/** Streams that are worth a run: each has two listeners, and some listener sits behind a router. */
export const areWorthARun = (world: RoutedWorld, streams: readonly RoutedStream[]): boolean =>
  streams.every(({ listeners }) => listeners.length >= 2) &&
  streams.some(({ source, listeners }) => listeners.some((host) => world.homeOf(host) !== world.homeOf(source)));

export const drawFaultySeq = (random: Random): number =>
  drawOne(random, [0, 0, drawInteger(random, PACKETS / 5, (PACKETS * 4) / 5)]);
