import {
  EMPTY_HISTOGRAM,
  type Names,
  numberNames,
  readNames,
  type StreamReceipt,
  StreamTracker,
  thinNames,
} from "@dyetrace/measure";
import { emissionOf, FLOW_SENDER, type Flow, type Progress } from "./flow.ts";
import { type ToldPart, type ToldStay, watchersOf } from "./told-stays.ts";

/** An IP packet of common media holds seven packets of a transport stream. */
const TS_PACKET_BYTES = 188;

/**
 * Packets without a sequence number: the names that all agents saw are put into one row, and each agent's names are then
 * followed by their numbers, as the agent would have done had the packets borne them.
 */
export function digestFlow(stays: readonly ToldStay[], format: "mpeg-ts" | "any", senders: readonly string[]): Flow {
  const digests = stays.flatMap(({ parts }) => parts.map(({ followed }) => followed.digest));
  const packets = digests.reduce((sum, one) => sum + one.packets, 0);
  const bytes = digests.reduce((sum, one) => sum + one.bytes, 0);
  const payloadBytes = packets === 0 ? 1 : Math.max(1, Math.round(bytes / packets));
  const shift = digests.reduce((most, { names }) => names.reduce((at, block) => Math.max(at, block.shift), most), 0);
  const told = stays.map((stay) => stay.parts.map((part) => namesOf(part, shift)));
  const row = numberNames(told.map(joined), Math.max(1, Math.floor(payloadBytes / TS_PACKET_BYTES)));
  const receipts = new Map<ToldPart, StreamReceipt>();
  for (const [index, stay] of stays.entries()) {
    const numbers = row.numbers[index] ?? [];
    followAgain(stay, told[index] ?? [], row.isTold ? numbers : [], row.firstNs, payloadBytes, receipts);
  }
  const seen = row.firstNs.flatMap((atNs, seq): Progress[] => (Number.isNaN(atNs) ? [] : [{ atNs, lastSeq: seq }]));
  const fromNs = seen.reduce((first, { atNs }) => Math.min(first, atNs), Number.POSITIVE_INFINITY);
  const untilNs = seen.reduce((last, { atNs }) => Math.max(last, atNs), 0);
  const onSeconds = Math.max(0.001, (untilNs - fromNs) / 1e9);
  return {
    suffix: null,
    facts: {
      format,
      identifiedBy: !row.isTold ? null : format === "mpeg-ts" ? "continuity" : "digest",
      ssrc: null,
      senders,
      comparedOneIn: 2 ** shift,
      allBps: rateOf(stays),
      missingToAll: format === "mpeg-ts" && shift === 0 ? row.missingToAll : null,
      isUnseen: false,
      watchers: watchersOf(stays),
    },
    emission: row.isTold && seen.length > 0 ? emissionOf(seen, 0, fromNs, null) : null,
    receiptOf: (part) => receipts.get(part) ?? part.receipt,
    payloadBytes,
    packetsPerSecond: row.endSeq / onSeconds,
  };
}

/** As the listener had it that got most: stuffing, and packets that are not compared, have no name and load the network all the same. */
function rateOf(stays: readonly ToldStay[]): number | null {
  const told = stays.map(({ parts }) => ({
    bits: parts.reduce((sum, { followed }) => sum + 8 * followed.digest.bytes, 0),
    fromNs: parts.reduce(
      (first, { receipt }) => Math.min(first, receipt.firstArrivalNs ?? first),
      Number.POSITIVE_INFINITY,
    ),
    untilNs: parts.reduce((last, { receipt }) => Math.max(last, receipt.lastArrivalNs ?? last), 0),
  }));
  const most = told.toSorted((a, b) => b.bits - a.bits)[0];
  return most === undefined || most.untilNs <= most.fromNs ? null : most.bits / ((most.untilNs - most.fromNs) / 1e9);
}

function namesOf({ followed }: ToldPart, shift: number): Names {
  const names = joined(followed.digest.names.map(readNames));
  return thinNames(names, shift);
}

const joined = (all: readonly Names[]): Names => ({
  digests: all.flatMap(({ digests }) => digests),
  timesNs: all.flatMap(({ timesNs }) => timesNs),
  missing: all.flatMap(({ missing }) => missing),
});

/** Times are told to 8 µs, and arrivals never go backwards. */
function followAgain(
  { parts }: ToldStay,
  told: readonly Names[],
  numbers: readonly number[],
  firstNs: readonly number[],
  payloadBytes: number,
  receipts: Map<ToldPart, StreamReceipt>,
): void {
  let tracker: StreamTracker | null = null;
  let next = 0;
  let lastNs = Number.NEGATIVE_INFINITY;
  for (const [index, part] of parts.entries()) {
    const { receipt, report } = part;
    if (tracker === null || receipt.isFirst) {
      tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: receipt.hostDrops !== null });
      lastNs = Number.NEGATIVE_INFINITY;
    }
    if ((receipt.hostDrops ?? 0) > 0) tracker.noteHostDrops(receipt.hostDrops ?? 0, Math.max(lastNs, report.fromNs));
    const { timesNs } = told[index] ?? { timesNs: [] };
    for (const timeNs of timesNs) {
      const seq = numbers[next++];
      if (seq === undefined) continue;
      lastNs = Math.max(lastNs, timeNs);
      tracker.record(seq, firstNs[seq] ?? timeNs, lastNs, payloadBytes, FLOW_SENDER, -1, -1);
    }
    const own = receipt.isFinal ? tracker.finish() : tracker.cut();
    if (receipt.isFinal) tracker = null;
    receipts.set(part, { ...own, ...asSeen(receipt), isFirst: receipt.isFirst, isFinal: receipt.isFinal });
  }
}

/** What the agent counted of every packet. */
const asSeen = ({
  receivedBytes,
  ttlMin,
  ttlMax,
  dscpSeen,
  hostDrops,
  longestSilence,
  firstArrivalNs,
  lastArrivalNs,
}: StreamReceipt) => ({
  receivedBytes,
  ttlMin,
  ttlMax,
  dscpSeen,
  hostDrops,
  longestSilence,
  firstArrivalNs,
  lastArrivalNs,
  // Nothing in these packets tells when they were sent; beside the first arrival anywhere, the first agent's delay would be 0.
  jitterNs: null,
  jitterMaxNs: null,
  pdvNs: EMPTY_HISTOGRAM,
  delayFactorMaxNs: null,
  mediaLossMaxPps: null,
});
