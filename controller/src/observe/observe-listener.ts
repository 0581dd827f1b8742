import type { ListenerObservation, SeqRange, Silence } from "@dyetrace/locate";
import { countRanges, intersectRanges } from "@dyetrace/measure";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import { companionCount } from "./companion-count.ts";
import { expectedNumbers, missingNumbers } from "./expected-numbers.ts";
import type { RunEvidence } from "./run-evidence.ts";
import type { Stay } from "./stays.ts";
import { foreignPackets, type Reception } from "./stream-evidence.ts";

/** A silence shorter than this many packet intervals is the stream's own rhythm. */
const SILENCE_INTERVALS = 3;
const MOST_SILENCES = 100;

/** What one host received in one stay in a group. */
export function observeListener(stay: Stay, graph: SiteGraph, evidence: RunEvidence): ListenerObservation {
  const { stream, join, source } = stay;
  const reception = stay.reception?.isWhole === true ? stay.reception : null;
  const receipt = reception?.receipt;
  const window = reception === null ? null : expectedNumbers(stay, reception);
  const atNic = window === null || stay.frames === null ? null : intersectRanges(stay.frames.ranges, [window]);
  return {
    stream: stream.name,
    host: hostOfAgent(graph, join.agent) ?? join.agent,
    state: reception === null ? "no-report" : "reported",
    joinedFromMs: (reception?.membership.joinRequestedNs ?? join.fromNs) / 1e6,
    joinedToMs: join.toNs === null ? null : (reception?.membership.leaveRequestedNs ?? join.toNs) / 1e6,
    receivedPackets: receipt?.firstCopies ?? 0,
    window,
    lost: window === null || reception === null ? [] : missingNumbers(reception, source?.emission ?? null, window),
    isLostListExact: receipt?.spans.every((span) => span.coarse.length === 0) ?? true,
    hostLostPackets: receipt?.hostLost ?? null,
    firstArrivalMs: receipt?.firstArrivalNs == null ? null : receipt.firstArrivalNs / 1e6,
    lastArrivalMs: receipt?.lastArrivalNs == null ? null : receipt.lastArrivalNs / 1e6,
    silences: reception === null ? [] : silencesOf(reception, stay),
    ttlSeen: receipt?.ttlMin ?? null,
    dscpSeen: mostSeen(receipt?.dscpSeen ?? []),
    unicastRatio: unicastRatio([stay]),
    nicFrames: atNic === null ? null : countRanges(atNic),
    foreignPackets: foreignPackets(evidence, join.agent, stream.streamId),
    companion: companionCount(stay.run, stay, evidence),
  };
}

/** Share of the frames that came during these stays of one host and stream, as far as whole intervals tell. */
export function unicastRatio(stays: readonly Stay[]): number | null {
  const parts = stays.flatMap(({ run, frames, reception }) => {
    const { joinRequestedNs, leaveRequestedNs } = reception?.membership ?? {};
    if (joinRequestedNs === undefined) return [];
    const untilNs = leaveRequestedNs ?? run.endNs;
    return (frames?.parts ?? []).filter(({ firstNs, lastNs }) => firstNs >= joinRequestedNs && lastNs <= untilNs);
  });
  const frames = parts.reduce((sum, part) => sum + part.frames, 0);
  return frames === 0 ? null : parts.reduce((sum, part) => sum + part.asUnicastFrames, 0) / frames;
}

function silencesOf({ receipt }: Reception, { stream }: Stay): Silence[] {
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

const mostSeen = (counts: readonly SeqRange[]): number | null =>
  counts.reduce<SeqRange | null>((best, one) => (best === null || one[1] > best[1] ? one : best), null)?.[0] ?? null;
