import type { ListenerObservation, SeqRange } from "@dyetrace/locate";
import { mergeReceipts, type StreamReceipt, settleEnds } from "@dyetrace/measure";
import type { ReportReceipt } from "@dyetrace/wire";
import { missingNumbers, warmUpNumbers } from "../observe/expected-numbers.ts";
import { unicastRatio } from "../observe/observe-listener.ts";
import type { RunEvidence } from "../observe/run-evidence.ts";
import type { Stay } from "../observe/stays.ts";
import { foreignPackets } from "../observe/stream-evidence.ts";
import { reportDelays } from "./report-delays.ts";

/** Gaps that one receipt lists; those that miss most, in order of time. */
const MOST_GAPS = 1000;

/** One stay with the observation that was made of it. */
interface SeenStay {
  readonly stay: Stay;
  readonly seen: ListenerObservation;
}

/**
 * One receipt for each listener of each stream, over all its stays, in the order of the first joins.
 * @param observations one for each stay, in the same order
 */
export function reportReceipts(
  stays: readonly Stay[],
  evidence: RunEvidence,
  observations: readonly ListenerObservation[],
): ReportReceipt[] {
  const ofListener = new Map<string, SeenStay[]>();
  for (const [position, stay] of stays.entries()) {
    const seen = observations[position];
    if (seen === undefined) throw new Error("A stay has no observation");
    const key = `${stay.join.stream} ${stay.join.agent}`;
    ofListener.set(key, [...(ofListener.get(key) ?? []), { stay, seen }]);
  }
  return [...ofListener.values()].flatMap((all) => {
    const [first] = all.toSorted((a, b) => a.stay.join.fromNs - b.stay.join.fromNs);
    return first === undefined ? [] : [reportReceipt(first.stay, all, evidence)];
  });
}

function reportReceipt({ join, stream }: Stay, all: readonly SeenStay[], evidence: RunEvidence): ReportReceipt {
  const base = { stream: join.stream, listener: join.agent, stays: all.length };
  const told = all.filter(({ stay }) => stay.reception?.isWhole === true);
  // A figure over some of the stays would pass for one over all of them.
  if (told.length < all.length) return { ...base, ...NOTHING_KNOWN };
  const receipts = told.flatMap(settled);
  const receipt = receipts.reduce(mergeReceipts);
  const sent = sumKnown(told, ({ seen }) => (seen.window === null ? null : size(seen.window)));
  const missing = sumKnown(told, ({ seen }) => (seen.window === null ? null : sizes(seen.lost)));
  // What this host dropped is its own loss, never the network's; it can't be more than what is missing.
  const lost = missing === null ? null : Math.max(0, missing - (receipt.hostLost ?? 0));
  const warmUp = told.flatMap(({ stay }) => warmUpOf(stay));
  const counted = receipts.flatMap(gapsOf).filter(({ firstSeq }) => !warmUp.some(({ range }) => firstSeq <= range[1]));
  const longestGapMs =
    warmUp.length === 0
      ? (receipt.longestGap?.durationNs ?? 0) / 1e6
      : Math.max(0, ...counted.map(({ durationMs }) => durationMs ?? 0));
  return {
    ...base,
    sent,
    received: warmUp.length === 0 || sent === null || missing === null ? receipt.firstCopies : sent - missing,
    lost,
    lossRatio: lost === null || sent === null || sent === 0 ? null : lost / sent,
    ...(warmUp.length === 0 ? {} : { warmUpLost: warmUp.reduce((sum, { lost }) => sum + lost, 0) }),
    hostLost: receipt.hostLost,
    duplicates: receipt.duplicates,
    reordered: receipt.reordered,
    gaps: counted
      .sort((a, b) => b.count - a.count)
      .slice(0, MOST_GAPS)
      .sort((a, b) => a.firstSeq - b.firstSeq),
    longestGapMs: receipt.firstCopies === 0 ? null : longestGapMs,
    jitterMs: receipt.jitterNs === null ? null : receipt.jitterNs / 1e6,
    ...reportDelays(told.map(({ stay }) => stay)),
    hops: receipt.ttlMin === null ? null : stream.ttl - receipt.ttlMin,
    asUnicastRatio: unicastRatio(told.map(({ stay }) => stay)),
    foreign: foreignPackets(evidence, join.agent, stream.streamId),
  };
}

const NOTHING_KNOWN = {
  sent: null,
  received: null,
  lost: null,
  lossRatio: null,
  hostLost: null,
  duplicates: null,
  reordered: null,
  gaps: [],
  longestGapMs: null,
  jitterMs: null,
  joinDelayMs: null,
  leaveDelayMs: null,
  joinDelays: null,
  leaveDelays: null,
  leavesWithoutEffect: null,
  hops: null,
  asUnicastRatio: null,
  foreign: null,
};

/** Unknown for one is unknown for all. */
const sumKnown = (all: readonly SeenStay[], figureOf: (one: SeenStay) => number | null): number | null =>
  all.reduce<number | null>((sum, one) => {
    const value = figureOf(one);
    return sum === null || value === null ? null : sum + value;
  }, 0);

/** The numbers of a stay's warm-up, and how many of them did not come; none where the scenario states no warm-up. */
function warmUpOf(stay: Stay): { readonly range: SeqRange; readonly lost: number }[] {
  const range = stay.reception === null ? null : warmUpNumbers(stay, stay.reception);
  if (range === null || stay.reception === null) return [];
  return [{ range, lost: sizes(missingNumbers(stay.reception, stay.source?.emission ?? null, range)) }];
}

const size = ([first, last]: SeqRange): number => last - first + 1;
const sizes = (ranges: readonly SeqRange[]): number => ranges.reduce((sum, range) => sum + size(range), 0);

/** A stay's receipt with what is missing at its two ends: only the source's account shows it. */
function settled({ stay: { stream, reception }, seen: { window } }: SeenStay): StreamReceipt[] {
  if (reception === null) return [];
  return [
    settleEnds(reception.receipt, {
      firstExpectedSeq: window?.[0] ?? null,
      sentPackets: window === null ? null : window[1] + 1,
      intervalNs: (stream.payloadBytes * 8e9) / stream.rateBps,
      sentTtl: stream.ttl,
    }),
  ];
}

const gapsOf = ({ spans }: StreamReceipt): ReportReceipt["gaps"] =>
  spans
    .flatMap((span) => span.lost)
    .map(([firstSeq, count, startNs, durationNs]) => ({
      firstSeq,
      count,
      startMs: startNs === null ? null : startNs / 1e6,
      durationMs: durationNs === null ? null : durationNs / 1e6,
    }));
