import { nodeOfAddress, type SiteGraph } from "@dyetrace/site";
import {
  followsOthers,
  type IntervalReport,
  type ListenerInterval,
  type ReportMedia,
  type WatchedStream,
} from "@dyetrace/wire";
import type { Emission } from "../account/emissions.ts";
import type { AgentEvidence, RunEvidence } from "../account/run-evidence.ts";
import type { CompiledRun, CompiledStream, PlannedJoin } from "../plan/compiled-run.ts";
import { asFrames, withFrames } from "./bystander-frames.ts";
import { digestFlow } from "./digest-flow.ts";
import type { Flow } from "./flow.ts";
import { reportMedia } from "./report-media.ts";
import { restPackets } from "./rest-packets.ts";
import { rtpFlow } from "./rtp-flow.ts";
import { isBystanders, isOfHost, type ToldPart, type ToldStay, toldStays } from "./told-stays.ts";
import { unseenFlow } from "./unseen-flow.ts";

/** A source with a smaller share of the packets is no stream of its own: it is strays, or reports between them. Our choice. */
const LEAST_SHARE = 0.01;
/** What bears no RTP number beside RTP is its control traffic (RFC 3550, section 6.2: 5 % at most), unless it is more than this. */
const LEAST_OTHER_SHARE = 0.2;
const FEWEST_PACKETS = 20;

export interface ReadRun {
  readonly run: CompiledRun;
  readonly evidence: RunEvidence;
  readonly media: readonly ReportMedia[];
}

/**
 * A run that followed streams of others, in the terms of one that sent its own: each source that was found is a stream, what
 * agents saw together stands for what was sent, and each agent's receipts are by those numbers. All that reasons on runs goes on from
 * there and knows no difference. A run without such streams is handed back as it is. Pure.
 */
export function readFollowed(run: CompiledRun, evidence: RunEvidence, graph: SiteGraph): ReadRun {
  if (!followsOthers(run)) return { run, evidence, media: [] };
  const emissions = new Map<string, Emission>();
  const streams: CompiledStream[] = [];
  const media: ReportMedia[] = [];
  /** By the part of an agent's report: what stands in its place. */
  const inPlace = new Map<ListenerInterval, ListenerInterval[]>();
  const idsOf = new Map<number, number[]>();
  const hostJoins: PlannedJoin[] = [];
  /** By agent: what came to it though nobody there had joined. */
  const unasked = new Map<string, WatchedStream[]>();
  let nextId = run.streams.reduce((most, { streamId }) => Math.max(most, streamId), 0) + 1;
  for (const stream of run.streams) {
    const stays = stream.production === undefined ? [] : toldStays(stream.streamId, evidence.agents);
    const flows = stream.production === undefined ? [] : flowsOf(run, stream, stays);
    if (flows.length === 0) streams.push(stream);
    hostJoins.push(...stays.filter(isOfHost).map((stay) => joinOfHost(stream.name, stay, run.endNs)));
    const asked = stays.filter((stay) => !isBystanders(stay));
    for (const flow of flows) {
      const streamId = flow.suffix === null ? stream.streamId : nextId++;
      const found = asStream(stream, flow, streamId, stays, graph);
      streams.push(found);
      media.push(...reportMedia(found, flow, asked));
      if (flow.emission !== null) emissions.set(found.name, flow.emission);
      idsOf.set(stream.streamId, [...(idsOf.get(stream.streamId) ?? []), streamId]);
      for (const part of asked.flatMap(({ parts }) => parts)) putInPlace(inPlace, part, streamId, flow);
      for (const { agent, parts } of stays.filter(isBystanders)) {
        const seen = parts.map((part) => asFrames(streamId, flow.receiptOf(part), part));
        unasked.set(agent, [...(unasked.get(agent) ?? []), ...seen]);
        for (const part of parts) inPlace.set(part.entry, []);
      }
    }
  }
  const names = new Map(
    run.streams.map(({ name, entry }) => [name, streams.flatMap((one) => (one.entry === entry ? [one.name] : []))]),
  );
  return {
    run: {
      ...run,
      streams,
      joins: [...run.joins, ...hostJoins].flatMap((join) =>
        (names.get(join.stream) ?? []).map((stream) => ({ ...join, stream })),
      ),
      scenario: { ...run.scenario, timeline: [...run.scenario.timeline, ...sendingTimes(run, streams, emissions)] },
    },
    evidence: { ...evidence, agents: replaced(evidence.agents, inPlace, idsOf, unasked), followed: emissions },
    media,
  };
}

/** A stay that ends with the run has no leave. */
function joinOfHost(stream: string, { agent, joinRequestedNs, parts }: ToldStay, endNs: number): PlannedJoin {
  const leftNs = parts.at(-1)?.entry.memberships[0]?.leaveRequestedNs ?? endNs;
  return {
    stream,
    agent,
    fromNs: joinRequestedNs,
    toNs: leftNs >= endNs - UNTIL_END_NS ? null : leftNs,
    isOfHost: true,
  };
}

/** Agents end a run within this time of its end. */
const UNTIL_END_NS = 1e9;

function flowsOf(run: CompiledRun, stream: CompiledStream, stays: readonly ToldStay[]): Flow[] {
  const parts = stays.flatMap((stay) => stay.parts);
  const senders = [...new Set(parts.flatMap(({ followed }) => followed.sources))].sort();
  const packetsOf = new Map<number, number>();
  const bytesOf = new Map<number, number>();
  for (const { followed } of parts) {
    for (const { ssrc, packets, bytes } of followed.rtp) {
      packetsOf.set(ssrc, (packetsOf.get(ssrc) ?? 0) + packets);
      bytesOf.set(ssrc, (bytesOf.get(ssrc) ?? 0) + bytes);
    }
  }
  const others = parts.reduce((sum, { followed }) => sum + followed.digest.packets, 0);
  const total = others + [...packetsOf.values()].reduce((sum, packets) => sum + packets, 0);
  if (total === 0) return stays.length === 0 ? [] : [unseenFlow(run, stream, stays)];
  const found = [...packetsOf].filter(([, packets]) => packets >= Math.max(FEWEST_PACKETS, LEAST_SHARE * total));
  const ssrcs = mainFirst(new Map(found.map(([ssrc]) => [ssrc, bytesOf.get(ssrc) ?? 0])));
  const rtp = ssrcs.map((ssrc, position) => rtpFlow(ssrc, stays, position === 0, senders));
  if (rtp.length > 0 && others < LEAST_OTHER_SHARE * total) return rtp;
  const ts = restPackets(parts);
  const rest = digestFlow(stays, ts.isTransportStream ? "mpeg-ts" : "any", senders);
  return [...rtp, rtp.length === 0 ? rest : { ...rest, suffix: "others" }];
}

/** Of several that are about as large none is the main one by its size. Our choice, no source. */
const ABOUT_AS_LARGE = 0.5;

/**
 * The first keeps the stream's name, and in another run it is to be the same one: a picture beside its sound whatever each of them
 * counts, and of streams alike always the same.
 */
export function mainFirst(bytesOf: ReadonlyMap<number, number>): readonly number[] {
  const most = Math.max(...bytesOf.values());
  const isLarge = (ssrc: number): boolean => (bytesOf.get(ssrc) ?? 0) >= ABOUT_AS_LARGE * most;
  return [...bytesOf.keys()].sort((a, b) => Number(isLarge(b)) - Number(isLarge(a)) || a - b);
}

/** Nothing is told of it. */
const NEVER_NS = 0;

function asStream(
  stream: CompiledStream,
  { suffix, facts, payloadBytes, packetsPerSecond }: Flow,
  streamId: number,
  stays: readonly ToldStay[],
  graph: SiteGraph,
): CompiledStream {
  const node = graph.nodes.has(stream.sourceHost) ? stream.sourceHost : nodeOf(facts.senders, graph);
  const rate = Math.max(packetsPerSecond, 0.001);
  return {
    ...stream,
    streamId,
    name: suffix === null ? stream.name : `${stream.name}:${suffix}`,
    source: node ?? facts.senders[0] ?? stream.source,
    sourceHost: node ?? stream.sourceHost,
    payloadBytes,
    rateBps: rate * payloadBytes * 8,
    burstPackets: Math.max(1, Math.ceil((usualSilenceNs(stays) / 1e9) * rate)),
    followed: facts,
  };
}

/** Only one sender is somebody's place. */
function nodeOf(senders: readonly string[], graph: SiteGraph): string | null {
  const nodes = new Set(senders.map((address) => nodeOfAddress(graph, address)));
  const [node = null] = nodes;
  return nodes.size === 1 ? node : null;
}

/**
 * The stream's own rhythm: a camera sends a frame's packets together and then pauses. In each interval the host that waited least
 * tells how long the stream paused; of the intervals a tenth may be worse.
 */
function usualSilenceNs(stays: readonly ToldStay[]): number {
  const least = new Map<number, number>();
  for (const { report, receipt } of stays.flatMap(({ parts }) => parts)) {
    const silenceNs = receipt.longestSilence?.durationNs;
    if (silenceNs === undefined) continue;
    least.set(report.toNs, Math.min(least.get(report.toNs) ?? Number.POSITIVE_INFINITY, silenceNs));
  }
  const sorted = [...least.values()].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length * 0.9)] ?? sorted.at(-1) ?? NEVER_NS;
}

function putInPlace(
  inPlace: Map<ListenerInterval, ListenerInterval[]>,
  part: ToldPart,
  streamId: number,
  flow: Flow,
): void {
  const { followed: _, ...entry } = part.entry;
  const own = { ...entry, streamId, receipt: flow.receiptOf(part) };
  inPlace.set(part.entry, [...(inPlace.get(part.entry) ?? []), own]);
}

/** When each was seen, in the words of a timeline. */
const sendingTimes = (
  run: CompiledRun,
  streams: readonly CompiledStream[],
  emissions: ReadonlyMap<string, Emission>,
): CompiledRun["scenario"]["timeline"] =>
  streams.flatMap(({ name, entry, production }) => {
    if (production === undefined) return [];
    const { intervals = [] } = emissions.get(name) ?? {};
    const fromNs = Math.max(0, intervals[0]?.fromNs ?? 0);
    const toNs = intervals.at(-1)?.toNs ?? run.scenario.durationNs;
    return [
      { kind: "emit", atNs: fromNs, stream: name, entry } as const,
      { kind: "stop", atNs: Math.max(fromNs, toNs), stream: name, entry } as const,
    ];
  });

function replaced(
  agents: ReadonlyMap<string, AgentEvidence>,
  inPlace: ReadonlyMap<ListenerInterval, readonly ListenerInterval[]>,
  idsOf: ReadonlyMap<number, readonly number[]>,
  unasked: ReadonlyMap<string, readonly WatchedStream[]>,
): ReadonlyMap<string, AgentEvidence> {
  const inTotals = (entry: ListenerInterval): ListenerInterval[] =>
    (idsOf.get(entry.streamId) ?? [entry.streamId]).map((streamId) => ({ ...entry, streamId }));
  const report = (one: IntervalReport): IntervalReport => ({
    ...one,
    listeners: one.listeners.flatMap((entry) => inPlace.get(entry) ?? inTotals(entry)),
    totals: one.totals === null ? null : { ...one.totals, listeners: one.totals.listeners.flatMap(inTotals) },
  });
  return new Map(
    [...agents].map(([name, one]) => {
      const reports = one.reports.map(report);
      const last = one.reports.at(-1);
      const final = one.final === null ? null : one.final === last ? (reports.at(-1) ?? null) : report(one.final);
      return [name, { ...one, reports, final, watch: withFrames(one.watch, unasked.get(name) ?? []) }];
    }),
  );
}
