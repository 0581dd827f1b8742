import type { ListenerObservation, SeqRange, Silence } from "@dyetrace/locate";
import { countRanges, intersectRanges, mergeSequenceRanges } from "@dyetrace/measure";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { Reception } from "../account/receptions.ts";
import { hostLostIn, numbersIn } from "../account/stay-numbers.ts";
import { type Stay, unicastRatio } from "../account/stays.ts";

/** A silence shorter than this many packet intervals is the stream's own rhythm. */
const SILENCE_INTERVALS = 3;
const MOST_SILENCES = 100;

/** What one host received in one stay in a group; of a part of it, where its agent was away or lost for the rest. */
export function observeListener(stay: Stay, graph: SiteGraph): ListenerObservation {
  const { stream, join } = stay;
  // Without the source's word, a part of a stay is no more than that something came.
  const isTold = stay.reception?.isWhole === true || (stay.numbers?.window ?? null) !== null;
  const reception = isTold ? stay.reception : null;
  const receipt = reception?.receipt;
  const numbers = reception === null ? null : stay.numbers;
  const window = numbers?.window ?? null;
  const atNic = window === null || stay.frames === null ? null : intersectRanges(stay.frames.ranges, [window]);
  return {
    stream: stream.name,
    host: hostOfAgent(graph, join.agent) ?? join.agent,
    state: reception === null ? "no-report" : "reported",
    isInPieces: reception === null && stay.reception !== null,
    joinedFromMs: (reception?.membership.joinRequestedNs ?? join.fromNs) / 1e6,
    joinedToMs: join.toNs === null ? null : (reception?.membership.leaveRequestedNs ?? join.toNs) / 1e6,
    receivedPackets: receipt?.firstCopies ?? 0,
    window,
    lost:
      window === null || numbers === null
        ? []
        : mergeSequenceRanges([...numbersIn(numbers.missing), ...numbers.unknown]),
    unknown: numbers?.unknown ?? [],
    isLostListExact: numbers?.missing.every(({ isOne }) => isOne) ?? true,
    duplicatePackets: receipt?.duplicates ?? null,
    hostLostPackets:
      receipt == null || numbers === null || receipt.hostLost === null ? null : hostLostIn(numbers.missing),
    lastArrivalMs: receipt?.lastArrivalNs == null ? null : receipt.lastArrivalNs / 1e6,
    silences: reception === null ? [] : silencesOf(reception, stay),
    ttlSeen: receipt?.ttlMin ?? null,
    dscpSeen: mostSeen(receipt?.dscpSeen ?? []),
    unicastRatio: unicastRatio([stay]),
    nicFrames: atNic === null ? null : countRanges(atNic),
    foreignPackets: stay.strangePackets,
    companion: stay.companion,
  };
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
