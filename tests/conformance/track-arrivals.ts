import {
  mergeReceipts,
  type ReceiptSummary,
  type SequenceRange,
  type StreamReceipt,
  StreamTracker,
  summariseReceipt,
} from "@dyetrace/measure";
import type { ReportLossPattern } from "@dyetrace/wire";
import { type MissingRun, missingAsNoticed, missingWithin } from "../../controller/src/account/missing-runs.ts";
import { hostLostIn, lostIn, type StayNumbers } from "../../controller/src/account/stay-numbers.ts";
import { receiptDetails } from "../../controller/src/conclude/receipt-details.ts";

/** What the RFCs' examples give of a packet; times in milliseconds. */
export interface Arrival {
  readonly seq: number;
  readonly arrivalMs?: number;
  readonly sentMs?: number;
  readonly sizeBytes?: number;
}

/** What is known of the source: how many it sent from 0 on, what had to come first, and the time between two packets. */
export interface SourceWord {
  readonly sentPackets: number | null;
  readonly firstExpectedSeq: number | null;
  readonly intervalNs: number | null;
}

export const NOTHING_KNOWN: SourceWord = { sentPackets: null, firstExpectedSeq: null, intervalNs: null };

/** One receipt for each arrival, and the last one, so that a test sees what each packet was made of. */
export function trackEach(arrivals: readonly Arrival[], mediaRateBps: number | null = null): StreamReceipt[] {
  const tracker = new StreamTracker({ mediaRateBps, seesHostDrops: true });
  const receipts = arrivals.map((arrival, i): StreamReceipt => {
    const arrivalNs = Math.round((arrival.arrivalMs ?? i) * 1e6);
    const sentNs = Math.round((arrival.sentMs ?? 0) * 1e6);
    tracker.record(arrival.seq, sentNs, arrivalNs, arrival.sizeBytes ?? 100, 1, 64, 0);
    return tracker.cut();
  });
  return [...receipts, tracker.finish()];
}

/** The receipt of a whole reception. */
export const track = (arrivals: readonly Arrival[], mediaRateBps: number | null = null): StreamReceipt =>
  trackEach(arrivals, mediaRateBps).reduce(mergeReceipts);

/** Numbers in the order of arrival, a millisecond apart. */
export const trackOrder = (...seqs: readonly number[]): StreamReceipt => track(seqs.map((seq) => ({ seq })));

/** The receipt of a pattern of one character per packet, from number 0 on: those in `bad` do not arrive. */
export const trackPattern = (pattern: string, bad: string): StreamReceipt =>
  trackOrder(...[...pattern].flatMap((symbol, seq) => (bad.includes(symbol) ? [] : [seq])));

/** A whole reception as the report tells it. */
export interface Total extends Omit<StreamReceipt, "lost" | "hostLost" | keyof ReceiptSummary>, ReceiptSummary {
  readonly expected: number | null;
  readonly lost: number | null;
  readonly lossRatio: number | null;
  readonly hostLost: number | null;
  readonly gaps: readonly {
    readonly firstSeq: number;
    readonly count: number;
    readonly startMs: number | null;
    readonly durationMs: number | null;
  }[];
  readonly lossPattern: ReportLossPattern | null;
}

/** @returns by the code that reports are made with; `received` are distinct packets */
export function totalReceipt(receipt: StreamReceipt, source: SourceWord): Total {
  const numbers = stayNumbers(receipt, source);
  const { window, missing } = numbers;
  const expected = window === null ? null : window[1] - window[0] + 1;
  const hostLost = receipt.hostLost === null || receipt.firstCopies === 0 ? null : hostLostIn(missing);
  const lost = expected === null ? null : lostIn(missing) - (hostLost ?? 0);
  return {
    ...receipt,
    ...summariseReceipt(receipt),
    received: receipt.firstCopies,
    expected,
    lost,
    lossRatio: lost === null || expected === null ? null : lost / expected,
    hostLost,
    gaps: missing.filter(({ isOne }) => isOne).map(gapOf),
    lossPattern: receiptDetails(receipt, [numbers]).lossPattern ?? null,
  };
}

/** The numbers of one stay, without a warm-up. Where the source's word is missing, those between first and last packet. */
export function stayNumbers(receipt: StreamReceipt, source: SourceWord): StayNumbers {
  const { spans } = receipt;
  const first = source.firstExpectedSeq ?? spans[0]?.firstSeq;
  const end = source.sentPackets ?? spans.at(-1)?.endSeq;
  const window: SequenceRange | null = first === undefined || end === undefined ? null : [first, end - 1];
  const missing =
    window === null
      ? missingAsNoticed(receipt)
      : missingWithin(receipt, spans[0]?.senderId ?? 1, window, source.intervalNs ?? 0);
  const rest = { warmUp: null, unknown: [], missingInWarmUp: [] };
  return { window, ...rest, missing, longestGapNs: receipt.longestGap?.durationNs ?? 0 };
}

const gapOf = ({ firstSeq, count, startNs, durationNs }: MissingRun): Total["gaps"][number] => ({
  firstSeq,
  count,
  startMs: startNs === null ? null : startNs / 1e6,
  durationMs: durationNs === null ? null : durationNs / 1e6,
});
