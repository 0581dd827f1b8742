import { countRanges, intersectRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { SiteGraph } from "@dyetrace/site";
import type {
  BystanderObservation,
  ListenerObservation,
  MembershipEvent,
  RunObservations,
  SeqRange,
  StreamObservation,
} from "../../../packages/locate/src/run/run-observations.ts";
import { type ClassScene, drawClassScene, segmentsAmong } from "../classes/class-scene.ts";
import { queryTimes, withQueries } from "../classes/observed-queries.ts";
import { drawInteger, drawOne, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import type { SimulatedFault } from "../simulated-fault.ts";

/** Timers short enough that memberships run out within a run. */
const TIMERS = { queryIntervalMs: 2_000, queryResponseMs: 500, robustness: 2, lastMemberMs: 500 };
const PACKETS = 1_000;
const PER_SECOND = 100;
const DURATION_MS = (PACKETS * 1000) / PER_SECOND;

/**
 * Observations of a random site: some faults, and then whatever agents may say, in any mixture, whether one world could
 * bring all of it about or not. A sentence has to be true of what was observed, whatever that is.
 */
export function drawObservations(random: Random): { readonly graph: SiteGraph; readonly run: RunObservations } {
  const scene = drawClassScene(random, {
    packets: PACKETS,
    packetsPerSecond: PER_SECOND,
    mostNodes: drawOne(random, [12, 20, 40]),
    mostSources: 3,
    bystanderShare: drawOne(random, [0, 0.2, 0.5]),
    isOneGroup: random() < 0.3,
  });
  const faults = Array.from({ length: drawInteger(random, 0, 3) }, () => drawFault(scene, random));
  const played = simulateRun(scene.graph, scene.streams, faults, random);
  const may = (chance: number): boolean => random() < chance;
  let run: RunObservations = { ...played, timers: TIMERS };
  if (may(0.7)) run = queried(run, scene, random);
  if (may(0.3)) run = { ...run, streams: run.streams.map((stream) => inSteps(stream, random)) };
  run = { ...run, streams: run.streams.map((stream) => asTheSourceSays(stream, random)) };
  const eager = drawOne(random, [0, 0.1, 0.4]);
  run = { ...run, listeners: run.listeners.map((one) => (may(eager) ? withStay(one, random) : one)) };
  run = { ...run, listeners: run.listeners.map((one) => withOddities(one, eager, random)) };
  const left = run.listeners.filter(({ joinedToMs }) => joinedToMs !== null);
  const leaves = left
    .filter(() => may(0.5))
    .map(({ host, stream, joinedToMs }): MembershipEvent => {
      const group = run.streams.find((one) => one.stream === stream)?.group ?? "";
      return { kind: "leave", host, group, atMs: joinedToMs ?? 0 };
    });
  const tails = left.filter(() => may(0.5)).map((one) => tailOf(one, random));
  const bystanders = run.bystanders.map((one) => (may(eager) ? withFrames(one, random) : one));
  return {
    graph: scene.graph,
    run: { ...run, membership: [...run.membership, ...leaves], bystanders: [...bystanders, ...tails] },
  };
}

function drawFault({ graph, places, streams }: ClassScene, random: Random): SimulatedFault {
  const place = drawOne(random, places);
  const segment = drawOne(random, segmentsAmong(places));
  const fromMs = random() < 0.5 ? 0 : random() * DURATION_MS;
  const nodes = [...graph.nodes.values()].filter(({ kind }) => kind !== "host").map(({ name }) => name);
  return drawOne<() => SimulatedFault>(random, [
    () => ({ kind: "outage", place, fromMs }),
    () => ({ kind: "outage", place, fromMs, toMs: fromMs + 3_000 * random() }),
    () => ({ kind: "dead-segment", segment, fromMs }),
    () => ({ kind: "lost-reports", segment }),
    () => ({ kind: "segment-group", segment, group: drawOne(random, streams).group }),
    () => ({ kind: "loss", segment, ratio: 0.1 * random(), burstPackets: drawOne(random, [1, 1, 8]) }),
    () => ({ kind: "policer", segment, passedPerSecond: 60, depthPackets: 5 }),
    () => ({ kind: "flooding-node", node: drawOne(random, nodes) }),
    () => ({ kind: "flooding-port", segment: drawOne(random, [...graph.segments.keys()]) }),
  ])();
}

function queried(run: RunObservations, { agents }: ClassScene, random: Random): RunObservations {
  const deaf = agents.filter(() => random() < drawOne(random, [0, 0.3]));
  const endsMs = random() < 0.4 ? random() * DURATION_MS : DURATION_MS;
  const atMs = random() < 0.2 ? [] : queryTimes(random, TIMERS.queryIntervalMs, -2_000, endsMs);
  const isHeard = (host: string): boolean => !deaf.includes(host);
  return withQueries(run, agents, { atMs, timers: TIMERS, isHeard, untilMs: DURATION_MS }, random);
}

/** The same numbers at the same times, with other sizes and rates in parts. */
function inSteps(stream: StreamObservation, random: Random): StreamObservation {
  const [step] = stream.steps;
  if (step === undefined) return stream;
  const parts = drawInteger(random, 2, 4);
  const size = (step.lastSeq - step.firstSeq + 1) / parts;
  const msEach = (step.endMs - step.startMs) / (step.lastSeq - step.firstSeq);
  const steps = Array.from({ length: parts }, (_, part) => {
    const firstSeq = Math.round(part * size);
    const lastSeq = Math.round((part + 1) * size) - 1;
    const payloadBytes = drawOne(random, [200, 600, 1_200, 1_400]);
    const [startMs, endMs] = [step.startMs + firstSeq * msEach, step.startMs + lastSeq * msEach];
    // The largest packets are more than the source's processor manages.
    const planned = payloadBytes === 1_400 ? 1.3 : 1;
    return { firstSeq, lastSeq, startMs, endMs, payloadBytes, rateBps: planned * payloadBytes * 8 * PER_SECOND };
  });
  return { ...stream, steps };
}

function asTheSourceSays(stream: StreamObservation, random: Random): StreamObservation {
  const chance = random();
  const dscp = random() < 0.3 ? drawOne(random, [0, 34, 46]) : null;
  const ttl = random() < 0.3 ? drawInteger(random, 1, 4) : null;
  const told = { ...stream, dscp, ttl, ssm: random() < 0.2 };
  if (chance < 0.05) return { ...told, sentPackets: null, sourceState: "unknown" };
  if (chance < 0.08) return { ...told, sentPackets: 0, sourceState: "not-sending" };
  if (chance < 0.1) return { ...told, sourceState: "not-sending", sentPackets: null };
  if (chance > 0.12) return told;
  const stalls = Array.from({ length: drawInteger(random, 1, 3) }, (_, i) => {
    const startMs = 2_500 * (i + random());
    return { startMs, endMs: startMs + 1_200 * random() };
  });
  return { ...told, sourceState: "stalled", stalls };
}

const seqAt = (atMs: number): number => Math.ceil((atMs * PER_SECOND) / 1000);

/** Joins late, leaves early, or both. */
function withStay(one: ListenerObservation, random: Random): ListenerObservation {
  const joinedFromMs = random() < 0.5 ? one.joinedFromMs : random() * DURATION_MS * 0.6;
  const joinedToMs = random() < 0.3 ? null : joinedFromMs + (DURATION_MS - joinedFromMs) * random();
  if (one.window === null) return { ...one, joinedFromMs, joinedToMs };
  const window: SeqRange = [
    Math.max(one.window[0], seqAt(joinedFromMs)),
    Math.min(one.window[1], joinedToMs === null ? PACKETS : seqAt(joinedToMs) - 1),
  ];
  if (window[1] < window[0]) return { ...one, joinedFromMs, joinedToMs, window: null, lost: [], receivedPackets: 0 };
  return recounted({ ...one, joinedFromMs, joinedToMs, window }, intersectRanges(one.lost, [window]));
}

function recounted(one: ListenerObservation, lost: readonly SeqRange[]): ListenerObservation {
  if (one.window === null) return one;
  const came = subtractRanges([one.window], lost);
  const last = came.at(-1)?.[1];
  return {
    ...one,
    lost,
    receivedPackets: countRanges(came),
    lastArrivalMs: last === undefined ? null : (last * 1000) / PER_SECOND,
  };
}

function withOddities(one: ListenerObservation, chance: number, random: Random): ListenerObservation {
  if (one.state === "no-report") return one;
  const may = (factor = 1): boolean => random() < chance * factor;
  if (may(0.3)) {
    const nothing = { window: null, lost: [], receivedPackets: 0, hostLostPackets: null, lastArrivalMs: null };
    return { ...one, ...nothing, state: "no-report" };
  }
  let told = one;
  const { window } = one;
  if (window !== null && may(0.5)) {
    const from = drawInteger(random, window[0], window[1]);
    const gap: SeqRange = [from, Math.min(window[1], from + drawInteger(random, 0, 300))];
    told = recounted(told, mergeSequenceRanges([...told.lost, gap]));
    if (may(0.7)) told = { ...told, unknown: [gap] };
  }
  const losses = countRanges(told.lost);
  if (may())
    told = { ...told, hostLostPackets: drawOne(random, [null, losses, 2 * losses, Math.floor(losses / 2), 40]) };
  if (may() && told.receivedPackets === 0) told = { ...told, nicFrames: drawInteger(random, 1, PACKETS) };
  if (may()) {
    const sentPackets = drawInteger(random, 0, 100);
    const receivedPackets = drawOne(random, [0, sentPackets, Math.floor(0.9 * sentPackets)]);
    told = { ...told, companion: { sentPackets, receivedPackets } };
  }
  if (told.receivedPackets > 0) {
    if (may()) told = { ...told, dscpSeen: drawOne(random, [0, 10, 46]), ttlSeen: drawInteger(random, 1, 4) };
    if (may()) told = { ...told, unicastRatio: drawOne(random, [0, 0.2, 0.7, 1]) };
    if (may()) told = { ...told, foreignPackets: drawInteger(random, 0, 50) };
    if (may()) told = { ...told, silences: [{ startMs: 3_000, endMs: 3_000 + 800 * random(), missingPackets: 0 }] };
  }
  return told;
}

/** What comes to a host after it has left. */
function tailOf({ stream, host, joinedToMs }: ListenerObservation, random: Random): BystanderObservation {
  const fromMs = (joinedToMs ?? 0) + 100 * random();
  return framesOf({ stream, host, canSee: true }, fromMs, fromMs + drawOne(random, [300, 2_500, 20_000]), random);
}

function withFrames(one: BystanderObservation, random: Random): BystanderObservation {
  if (random() < 0.2) return { ...one, canSee: false, frames: 0, ranges: [], firstMs: null, lastMs: null };
  const fromMs = drawOne(random, [0, 0, 4_600, DURATION_MS * random()]);
  return framesOf(one, fromMs, drawOne(random, [DURATION_MS, fromMs + DURATION_MS * random()]), random);
}

function framesOf(
  { stream, host, canSee }: Pick<BystanderObservation, "stream" | "host" | "canSee">,
  fromMs: number,
  toMs: number,
  random: Random,
): BystanderObservation {
  const [first, last] = [seqAt(fromMs), Math.min(PACKETS - 1, seqAt(toMs))];
  const all: SeqRange[] = first > last ? [] : [[first, last]];
  const middle = Math.floor((first + last) / 2);
  const ranges = random() < 0.3 ? subtractRanges(all, [[middle, middle + 50]]) : all;
  const [from, to] = [ranges[0]?.[0], ranges.at(-1)?.[1]];
  return {
    stream,
    host,
    canSee,
    frames: countRanges(ranges),
    ranges,
    firstMs: from === undefined ? null : (from * 1000) / PER_SECOND,
    lastMs: to === undefined ? null : (to * 1000) / PER_SECOND,
    isGroupUsedByHost: drawOne(random, [null, false, false, true]),
  };
}
