import {
  mergeReceipts,
  type ReceiptSummary,
  type SourceAccount,
  type StreamReceipt,
  StreamTracker,
  settleEnds,
  summariseReceipt,
} from "@dyetrace/measure";

/** What the RFCs' examples give of a packet; times in milliseconds. */
export interface Arrival {
  readonly seq: number;
  readonly arrivalMs?: number;
  readonly sentMs?: number;
  readonly sizeBytes?: number;
}

export const NOTHING_KNOWN: SourceAccount = {
  sentPackets: null,
  firstExpectedSeq: null,
  intervalNs: null,
};

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

type Counts = Omit<StreamReceipt, keyof ReceiptSummary>;

/** What a report makes of a reception, and its counts; `received` are distinct packets. */
export function totalReceipt(receipt: StreamReceipt, source: SourceAccount): Counts & ReceiptSummary {
  const settled = settleEnds(receipt, source);
  return { ...settled, ...summariseReceipt(settled), received: settled.firstCopies };
}
