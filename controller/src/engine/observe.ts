import type {
  ListenerObservation,
  RunObservations,
  SendStep,
  SeqRange,
  Silence,
  StreamObservation,
} from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { CompiledRun, CompiledStream, PlannedJoin } from "./compile-scenario.ts";
import type { RunEvidence } from "./conduct-run.ts";
import { observeBystanders } from "./observe-bystanders.ts";
import { observeMembership } from "./observe-membership.ts";
import { type Emission, emissionOf, type Reception, receptionOf } from "./stream-evidence.ts";
import { type SeenFrames, seenFrames } from "./watch-evidence.ts";

/** A silence shorter than this many packet intervals is the stream's own rhythm. */
const SILENCE_INTERVALS = 3;
const MOST_SILENCES = 100;
/** A join this long before the first packet counts as "there from the start": a report is repeated within 1 s (RFC 3376 8.11). */
const JOIN_AHEAD_NS = 200e6;

/** What the agents said, in the form that `locate` reasons from. Pure. */
export function observeRun(run: CompiledRun, graph: SiteGraph, evidence: RunEvidence): RunObservations {
  const emissions = new Map(run.streams.map((s) => [s.name, emissionOf(evidence, s.source, s.streamId)]));
  const streamOf = new Map(run.streams.map((stream) => [stream.name, stream]));
  const listeners = run.joins.map((join) => {
    const stream = streamOf.get(join.stream);
    if (stream === undefined) throw new Error(`A join names the unknown stream ${join.stream}`);
    const reception = receptionOf(evidence, join.agent, stream.streamId);
    const frames = seenFrames(evidence, join.agent, stream.streamId);
    const emission = emissions.get(stream.name) ?? null;
    return observeListener({ run, stream, join, host: hostOf(graph, join.agent), reception, frames, emission });
  });
  return {
    streams: run.streams.map((stream) => observeStream(run, stream, emissions.get(stream.name) ?? null)),
    listeners,
    bystanders: observeBystanders(run, graph, evidence),
    ...observeMembership(run, graph, evidence),
  };
}

const hostOf = (graph: SiteGraph, agent: string): string => hostOfAgent(graph, agent) ?? agent;

function observeStream(run: CompiledRun, stream: CompiledStream, emission: Emission | null): StreamObservation {
  const first = emission?.intervals[0];
  const last = emission?.intervals.at(-1);
  const isSilent = emission !== null && emission.sentPackets === 0;
  return {
    stream: stream.name,
    group: stream.group,
    source: stream.sourceHost,
    ssm: stream.isSourceSpecific,
    sourceState:
      emission === null ? "unknown" : isSilent ? "not-sending" : emission.stalls.length > 0 ? "stalled" : "sending",
    sentPackets: emission?.sentPackets ?? null,
    steps: plannedSteps(run, stream, emission),
    unsent: [],
    firstSentMs: first === undefined ? null : first.fromNs / 1e6,
    lastSentMs: last === undefined ? null : last.toNs / 1e6,
    stalls: (emission?.stalls ?? []).map(({ atNs, durationNs }) => ({
      startMs: atNs / 1e6,
      endMs: (atNs + durationNs) / 1e6,
    })),
    ttl: stream.ttl,
    dscp: stream.dscp,
  };
}

/** Rates and sizes as planned, with the numbers that the source's own intervals give them. */
function plannedSteps(run: CompiledRun, stream: CompiledStream, emission: Emission | null): SendStep[] {
  const steps: SendStep[] = [];
  let rateBps = stream.rateBps;
  let payloadBytes = stream.payloadBytes;
  let startNs: number | null = null;
  const close = (endNs: number): void => {
    if (startNs === null || endNs <= startNs) return;
    const firstSeq = steps.length === 0 ? (emission?.firstSeq ?? 0) : (steps.at(-1)?.lastSeq ?? -1) + 1;
    const bySchedule = firstSeq + Math.max(0, Math.ceil(((endNs - startNs) * rateBps) / (payloadBytes * 8e9))) - 1;
    const lastSeq =
      emission?.lastSeq === null || emission === null ? bySchedule : Math.min(bySchedule, emission.lastSeq);
    if (lastSeq >= firstSeq) {
      steps.push({
        firstSeq,
        lastSeq,
        startMs: startNs / 1e6,
        endMs: endNs / 1e6,
        payloadBytes,
        rateBps,
      });
    }
  };
  for (const deed of run.scenario.timeline) {
    if (deed.stream !== stream.name || deed.kind === "join" || deed.kind === "leave") continue;
    close(deed.atNs);
    if (deed.kind === "emit") startNs = deed.atNs;
    if (deed.kind === "stop") startNs = null;
    if (deed.kind === "set") {
      rateBps = deed.rateBps ?? rateBps;
      payloadBytes = deed.payloadBytes ?? payloadBytes;
      if (startNs !== null) startNs = deed.atNs;
    }
  }
  close(run.scenario.durationNs);
  return steps;
}

interface Listening {
  readonly run: CompiledRun;
  readonly stream: CompiledStream;
  readonly join: PlannedJoin;
  readonly host: string;
  readonly reception: Reception | null;
  readonly frames: SeenFrames | null;
  readonly emission: Emission | null;
}

function observeListener({ run, stream, join, host, reception, frames, emission }: Listening): ListenerObservation {
  const receipt = reception?.receipt;
  const window = expectedWindow(run, stream, join, reception, emission);
  const judged = receipt === undefined ? [] : judgedRanges(reception, emission);
  const lost = window === null ? [] : complement(judged, window);
  return {
    stream: stream.name,
    host,
    state: reception === null ? "no-report" : "reported",
    joinedFromMs: join.fromNs / 1e6,
    joinedToMs: join.toNs === null ? null : join.toNs / 1e6,
    receivedPackets: receipt?.firstCopies ?? 0,
    window,
    lost,
    hostLostPackets: receipt?.hostLost ?? null,
    firstArrivalMs: receipt?.firstArrivalNs == null ? null : receipt.firstArrivalNs / 1e6,
    lastArrivalMs: receipt?.lastArrivalNs == null ? null : receipt.lastArrivalNs / 1e6,
    silences: reception === null ? [] : silencesOf(reception, stream),
    ttlSeen: receipt?.ttlMin ?? null,
    dscpSeen: mostSeen(receipt?.dscpSeen ?? []),
    unicastRatio: frames === null || frames.frames === 0 ? null : frames.asUnicastFrames / frames.frames,
    nicFrames: frames?.frames ?? null,
    foreignPackets: reception?.foreignPackets ?? null,
    companion: null,
  };
}

/**
 * The numbers that a listener should have. One that joined ahead of the first packet should have all from the first;
 * one that joined later all from its first arrival (what came before is join delay, not loss). One that stayed past
 * the last packet should have all to the source's last; one that left, all to the last it judged.
 */
function expectedWindow(
  run: CompiledRun,
  stream: CompiledStream,
  join: PlannedJoin,
  reception: Reception | null,
  emission: Emission | null,
): SeqRange | null {
  if (emission === null || emission.firstSeq === null || emission.lastSeq === null) return null;
  const emitNs = run.scenario.timeline.find((deed) => deed.stream === stream.name && deed.kind === "emit")?.atNs ?? 0;
  const stopNs =
    run.scenario.timeline.findLast((deed) => deed.stream === stream.name && deed.kind === "stop")?.atNs ??
    run.scenario.durationNs;
  const spans = reception?.receipt.spans.filter((span) => span.senderId === emission.senderId) ?? [];
  const isEarly = join.fromNs + JOIN_AHEAD_NS <= emitNs;
  const isLate = join.toNs === null || join.toNs >= stopNs;
  const first = isEarly ? emission.firstSeq : (spans[0]?.firstSeq ?? numberSentAt(emission, join.fromNs + 1e9));
  const last = isLate
    ? emission.lastSeq
    : (spans.at(-1)?.endSeq ?? numberSentAt(emission, join.toNs ?? stopNs) + 1) - 1;
  if (emission.sentPackets === null)
    return last >= first && spans.length > 0 ? [first, Math.min(last, (spans.at(-1)?.endSeq ?? first) - 1)] : null;
  return last >= first ? [first, last] : null;
}

/** About which number was sent at an instant, from the source's interval counts. */
function numberSentAt(emission: Emission, atNs: number): number {
  const interval = emission.intervals.find((candidate) => candidate.toNs >= atNs) ?? emission.intervals.at(-1);
  if (interval === undefined) return 0;
  const share = Math.min(1, Math.max(0, (atNs - interval.fromNs) / (interval.toNs - interval.fromNs)));
  return Math.round(interval.firstSeq + share * (interval.lastSeq - interval.firstSeq));
}

/** Runs of numbers that arrived, ascending: the judged spans less their lost ranges. */
function judgedRanges(reception: Reception | null, emission: Emission | null): SeqRange[] {
  const received: SeqRange[] = [];
  for (const span of reception?.receipt.spans ?? []) {
    if (emission !== null && span.senderId !== emission.senderId) continue;
    let next = span.firstSeq;
    const missing = [...span.lost, ...span.coarse].sort((a, b) => a[0] - b[0]);
    for (const [firstSeq, count] of missing) {
      if (firstSeq > next) received.push([next, firstSeq - 1]);
      next = firstSeq + count;
    }
    if (span.endSeq > next) received.push([next, span.endSeq - 1]);
  }
  return received;
}

/** The numbers of a window that are in none of the ranges. */
function complement(received: readonly SeqRange[], [first, last]: SeqRange): SeqRange[] {
  const lost: SeqRange[] = [];
  let next = first;
  for (const [from, to] of received) {
    if (to < next) continue;
    if (from > last) break;
    if (from > next) lost.push([next, from - 1]);
    next = to + 1;
  }
  if (next <= last) lost.push([next, last]);
  return lost;
}

function silencesOf(reception: Reception, stream: CompiledStream): Silence[] {
  const { receipt } = reception;
  const intervalNs = (stream.payloadBytes * 8e9 * stream.burstPackets) / stream.rateBps;
  const gaps = receipt.spans.flatMap((span) =>
    span.lost.flatMap(([, count, startNs, durationNs]) =>
      startNs === null || durationNs === null ? [] : [{ startNs, durationNs, missingPackets: count }],
    ),
  );
  const longest = receipt.longestSilence;
  if (longest !== null && longest.startNs !== null && !gaps.some((gap) => gap.startNs === longest.startNs)) {
    gaps.push({ startNs: longest.startNs, durationNs: longest.durationNs, missingPackets: 0 });
  }
  return gaps
    .filter((gap) => gap.durationNs >= SILENCE_INTERVALS * intervalNs)
    .sort((a, b) => b.durationNs - a.durationNs)
    .slice(0, MOST_SILENCES)
    .sort((a, b) => a.startNs - b.startNs)
    .map(({ startNs, durationNs, missingPackets }) => ({
      startMs: startNs / 1e6,
      endMs: (startNs + durationNs) / 1e6,
      missingPackets,
    }));
}

const mostSeen = (counts: readonly (readonly [number, number])[]): number | null =>
  counts.reduce<readonly [number, number] | null>(
    (best, one) => (best === null || one[1] > best[1] ? one : best),
    null,
  )?.[0] ?? null;
