import { EMPTY_HISTOGRAM, type StreamReceipt } from "@dyetrace/measure";
import type { Followed } from "@dyetrace/wire";
import { alignNumbers, type NumberPiece } from "./align-numbers.ts";
import { emissionOf, FLOW_SENDER, type Flow, type Progress } from "./flow.ts";
import { type ToldPart, type ToldStay, watchersOf } from "./told-stays.ts";

type Rtp = Followed["rtp"][number];

/** One stretch of numbers at one host: until its agent begins anew, or the source does. */
interface Piece extends NumberPiece {
  readonly progress: Progress[];
  firstSeq: number;
}

/** One RTP source: its own sequence numbers, put into one row for all who followed it. */
export function rtpFlow(ssrc: number, stays: readonly ToldStay[], isFirst: boolean, senders: readonly string[]): Flow {
  const pieces: Piece[] = [];
  /** For each part and sender id, which piece. */
  const pieceOf = new Map<ToldPart, Map<number, number>>();
  for (const { parts } of stays) {
    let own = new Map<number, number>();
    for (const part of parts) {
      if (part.receipt.isFirst) own = new Map();
      pieceOf.set(part, own);
      const { receipt } = partOf(part, ssrc) ?? { receipt: null };
      for (const [position, { senderId, firstSeq, endSeq }] of (receipt?.spans ?? []).entries()) {
        if (receipt === null || senderId === null) continue;
        const isLast = position === receipt.spans.length - 1;
        const atNs = isLast ? (receipt.lastArrivalNs ?? part.report.toNs) : part.report.fromNs;
        const known = own.get(senderId);
        if (known !== undefined) pieces[known]?.progress.push({ atNs, lastSeq: endSeq - 1 });
        else {
          own.set(senderId, pieces.length);
          pieces.push({ firstSeq, progress: [{ atNs, lastSeq: endSeq - 1 }] });
        }
      }
    }
  }
  const shifts = alignNumbers(pieces);
  const progress = pieces.flatMap((piece, index) =>
    piece.progress.map(({ atNs, lastSeq }) => ({ atNs, lastSeq: lastSeq + (shifts[index] ?? 0) })),
  );
  const firstSeq = pieces.reduce(
    (first, piece, index) => Math.min(first, piece.firstSeq + (shifts[index] ?? 0)),
    Number.POSITIVE_INFINITY,
  );
  const told = stays.flatMap(({ parts }) => parts.flatMap((part) => partOf(part, ssrc) ?? []));
  const fromNs = told.reduce(
    (first, { receipt }) => Math.min(first, receipt.firstArrivalNs ?? first),
    Number.POSITIVE_INFINITY,
  );
  const untilNs = progress.reduce((last, { atNs }) => Math.max(last, atNs), 0);
  const packets = told.reduce((sum, one) => sum + one.packets, 0);
  const bytes = told.reduce((sum, one) => sum + one.bytes, 0);
  const emission = pieces.length === 0 ? null : emissionOf(progress, firstSeq, fromNs, null);
  const sent = emission?.sentPackets ?? 0;
  return {
    suffix: isFirst ? null : `ssrc-${ssrc.toString(16).padStart(8, "0")}`,
    facts: {
      format: told.some(({ ts }) => ts !== null) ? "rtp-with-mpeg-ts" : "rtp",
      identifiedBy: "sequence",
      ssrc,
      senders,
      comparedOneIn: 1,
      allBps: null,
      missingToAll: null,
      isUnseen: false,
      watchers: watchersOf(stays),
    },
    emission,
    receiptOf: (part) => renumbered(part, partOf(part, ssrc), pieceOf.get(part) ?? new Map(), shifts),
    payloadBytes: packets === 0 ? 1 : Math.max(1, Math.round(bytes / packets)),
    packetsPerSecond: sent / Math.max(0.001, (untilNs - fromNs) / 1e9),
  };
}

const partOf = ({ followed }: ToldPart, ssrc: number): Rtp | null =>
  followed.rtp.find((one) => one.ssrc === ssrc) ?? null;

/** A host that got nothing of the source in an interval tells of none: that is a receipt of nothing. */
function renumbered(
  { receipt: all }: ToldPart,
  rtp: Rtp | null,
  pieceOf: ReadonlyMap<number, number>,
  shifts: readonly number[],
): StreamReceipt {
  const { isFirst, isFinal } = all;
  if (rtp === null) return { ...nothing(all), isFirst, isFinal };
  const spans = rtp.receipt.spans.map((span) => {
    const shift = shifts[pieceOf.get(span.senderId ?? -1) ?? -1] ?? 0;
    return {
      senderId: FLOW_SENDER,
      firstSeq: span.firstSeq + shift,
      endSeq: span.endSeq + shift,
      lost: span.lost.map(([seq, ...rest]) => [seq + shift, ...rest] as const),
      coarse: span.coarse.map(([seq, ...rest]) => [seq + shift, ...rest] as const),
    };
  });
  return { ...rtp.receipt, spans, isFirst, isFinal };
}

const nothing = (all: StreamReceipt): StreamReceipt => ({
  ...all,
  received: 0,
  receivedBytes: 0,
  firstCopies: 0,
  duplicates: 0,
  duplicatedPackets: 0,
  latePackets: 0,
  reordered: 0,
  reorderExtentSum: 0,
  reorderExtentMax: 0,
  reorderLateMaxNs: 0,
  lost: 0,
  hostLost: all.hostLost === null ? null : 0,
  lossPeriods: 0,
  longestLossPeriod: 0,
  longestGap: null,
  longestSilence: null,
  firstArrivalNs: null,
  lastArrivalNs: null,
  spans: [],
  spansOmitted: 0,
  jitterNs: null,
  jitterMaxNs: null,
  pdvNs: EMPTY_HISTOGRAM,
  delayFactorMaxNs: null,
  mediaLossMaxPps: null,
  ttlMin: null,
  ttlMax: null,
  dscpSeen: [],
  senderRestarts: 0,
  otherSenderPackets: 0,
});
