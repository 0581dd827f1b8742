import { countRanges, mergeReceipts, type SequenceRange } from "@dyetrace/measure";
import type { ReportReceipt } from "@dyetrace/wire";
import type { MissingRun } from "../account/missing-runs.ts";
import type { Reception } from "../account/receptions.ts";
import type { RunAccount } from "../account/run-account.ts";
import { hostLostIn, lostIn, type StayNumbers } from "../account/stay-numbers.ts";
import { type Stay, unicastRatio } from "../account/stays.ts";
import { receiptDetails } from "./receipt-details.ts";
import { reportDelays } from "./report-delays.ts";

/** Gaps that one receipt lists; those that miss most, in order of time. */
const MOST_GAPS = 1000;

/** A stay of which its agent told all, or a part where it is known which one. */
type ToldStay = Stay & { readonly reception: Reception; readonly numbers: StayNumbers };

const isTold = ({ reception, numbers }: Stay): boolean =>
  reception !== null && numbers !== null && (reception.isWhole || numbers.window !== null);

/** One receipt for each listener of each stream, over all its stays, in the order of the first joins. */
export function reportReceipts({ stays }: RunAccount): ReportReceipt[] {
  const ofListener = new Map<string, Stay[]>();
  for (const stay of stays) {
    const key = `${stay.join.stream} ${stay.join.agent}`;
    const own = ofListener.get(key);
    if (own === undefined) ofListener.set(key, [stay]);
    else own.push(stay);
  }
  return [...ofListener.values()].map(reportReceipt);
}

/** @param all stays of one listener in one stream's group, one at least */
function reportReceipt(all: readonly Stay[]): ReportReceipt {
  const told = all.filter((stay): stay is ToldStay => isTold(stay));
  const [first] = all;
  if (first === undefined) throw new Error("A receipt needs a stay");
  const { stream, join, strangePackets } = first;
  const base = {
    ...{ stream: join.stream, listener: join.agent, stays: all.length },
    ...(all.every((one) => one.join.isOfHost === true) ? { isOfHost: true as const } : {}),
  };
  // A figure over some of the stays would pass for one over all of them.
  if (told.length < all.length) return { ...base, ...NOTHING_KNOWN };
  // What would have come of a stream that nobody saw is an assumption, which is no figure.
  if (stream.followed?.isUnseen === true) return { ...base, ...NOTHING_KNOWN, received: 0 };
  const receipt = told.map(({ reception }) => reception.receipt).reduce(mergeReceipts);
  const numbers = told.map((stay) => stay.numbers);
  const missing = numbers.flatMap((one) => one.missing);
  const sent = sentIn(numbers);
  const hostLost = receipt.hostLost === null ? null : hostLostIn(missing);
  // What this host dropped is its own loss, never the network's; it can't be more than what is missing.
  const lost = sent === null ? null : Math.max(0, lostIn(missing) - (hostLost ?? 0));
  const hasWarmUp = numbers.some(({ warmUp }) => warmUp !== null);
  const isPartial = told.some(({ reception }) => !reception.isWhole);
  return {
    ...base,
    sent,
    received: (hasWarmUp || isPartial) && sent !== null ? sent - lostIn(missing) : receipt.firstCopies,
    ...(isPartial ? { unknown: numbers.reduce((sum, one) => sum + countRanges(one.unknown), 0) } : {}),
    lost,
    lossRatio: lost === null || sent === null || sent === 0 ? null : lost / sent,
    ...(hasWarmUp ? { warmUpLost: lostIn(numbers.flatMap((one) => one.missingInWarmUp)) } : {}),
    hostLost,
    duplicates: receipt.duplicates,
    reordered: receipt.reordered,
    gaps: gapsOf(missing),
    longestGapMs:
      receipt.firstCopies === 0 ? null : Math.max(0, ...numbers.map(({ longestGapNs }) => longestGapNs)) / 1e6,
    jitterMs: receipt.jitterNs === null ? null : receipt.jitterNs / 1e6,
    ...reportDelays(told),
    hops: receipt.ttlMin === null || stream.production !== undefined ? null : stream.ttl - receipt.ttlMin,
    asUnicastRatio: unicastRatio(told),
    foreign: strangePackets,
    ...receiptDetails(receipt, numbers),
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
  delayVariation: null,
  jitterMaxMs: null,
  reordering: null,
  duplicatedPackets: null,
  latePackets: null,
  lossPattern: null,
  delayFactorMaxMs: null,
  mediaLossMaxPps: null,
  otherSenderPackets: null,
  senderRestarts: null,
};

/** Of which the listener can tell. Unknown for one stay is unknown for all. */
function sentIn(numbers: readonly StayNumbers[]): number | null {
  let sent = 0;
  for (const { window, unknown } of numbers) {
    if (window === null) return null;
    sent += size(window) - countRanges(unknown);
  }
  return sent;
}

const size = ([first, last]: SequenceRange): number => last - first + 1;

const gapsOf = (missing: readonly MissingRun[]): ReportReceipt["gaps"] =>
  missing
    .filter(({ isOne }) => isOne)
    .map(({ firstSeq, count, startNs, durationNs }) => ({
      firstSeq,
      count,
      startMs: startNs === null ? null : startNs / 1e6,
      durationMs: durationNs === null ? null : durationNs / 1e6,
    }))
    .sort((a, b) => b.count - a.count)
    .slice(0, MOST_GAPS)
    .sort((a, b) => a.firstSeq - b.firstSeq);
