import type { HistogramData } from "./log-histogram.ts";

/**
 * What one listener measured of one stream since the previous receipt: plain data, so that it survives JSON. Every part
 * is a sum, a maximum, a latest value or a list, chosen so that `mergeReceipts` over any cutting of a reception gives
 * exactly what one uncut tracker gives. Instants are nanoseconds of the tracker's time base, durations nanoseconds,
 * counts packets. Unknown is null.
 */
export interface StreamReceipt {
  /** True for a tracker's first receipt: a merge then joins nothing across its beginning. */
  readonly isFirst: boolean;
  /** True when the tracker was finished: nothing is held back any more. */
  readonly isFinal: boolean;

  /** Every packet of the measured sender, copies and late ones included. */
  readonly received: number;
  /** UDP payload of `received`. */
  readonly receivedBytes: number;
  /** Packets received at least once and in time: RFC 7680's "received". */
  readonly firstCopies: number;
  /** Copies after the first (RFC 5560: the sum of arrival counts less the number of packets). */
  readonly duplicates: number;
  /** Packets with more than one copy (the numerator of RFC 5560's replicated packet rate). */
  readonly duplicatedPackets: number;
  /** Behind the reorder window: too late to tell a late packet from an old copy. Their numbers stay lost. */
  readonly latePackets: number;

  /** First copies below the next expected number (RFC 4737, section 3.3). */
  readonly reordered: number;
  /** Reordering extent in packets (RFC 4737, section 4.2.3). */
  readonly reorderExtentSum: number;
  readonly reorderExtentMax: number;
  /** Late time offset (RFC 4737, section 4.3.3). */
  readonly reorderLateMaxNs: number;

  /** Numbers that were missing when they left the reorder window (RFC 7680; Tmax is the window). Host loss included. */
  readonly lost: number;
  /** Packets that this host's socket dropped, all streams of the socket; null if the platform does not tell. */
  readonly hostDrops: number | null;
  /** Part of `lost` that the host's drops account for; null with `hostDrops`. */
  readonly hostLost: number | null;
  /** Runs of consecutive lost packets (RFC 3357, section 5.4), and the longest one. */
  readonly lossPeriods: number;
  readonly longestLossPeriod: number;
  readonly longestGap: Stretch | null;
  /** Longest time between two arrivals, with or without missing numbers between them. */
  readonly longestSilence: Stretch | null;
  readonly firstArrivalNs: number | null;
  readonly lastArrivalNs: number | null;
  /** The runs of sequence numbers that were judged in this interval, in order. */
  readonly spans: readonly Span[];
  /** Spans that no longer found room in a merged receipt; their numbers are in the counts above. */
  readonly spansOmitted: number;

  /** Interarrival jitter after the last packet (RFC 3550, section 6.4.1), and its maximum; to a tenth of a nanosecond. */
  readonly jitterNs: number | null;
  readonly jitterMaxNs: number | null;
  /** Packet delay variation (RFC 5481, section 4.2), against the least delay of each 10 s of arrivals. */
  readonly pdvNs: HistogramData;
  /** Greatest delay factor (RFC 4445, section 3) of the whole seconds that ended; null without a media rate. */
  readonly delayFactorMaxNs: number | null;
  /** Most packets lost or out of order in one second (RFC 4445, section 3); null while no second has ended. */
  readonly mediaLossMaxPps: number | null;

  readonly ttlMin: number | null;
  readonly ttlMax: number | null;
  /** `[dscp, packets]`, ascending; empty if the platform does not tell. */
  readonly dscpSeen: readonly (readonly [dscp: number, packets: number])[];

  /** Changes to a new sender id after the old one fell silent. */
  readonly senderRestarts: number;
  /** Packets of another sender on the same stream, interleaved with the measured one: counted, not measured. */
  readonly otherSenderPackets: number;
}

/** A stretch of time. */
export interface Stretch {
  readonly startNs: number | null;
  readonly durationNs: number;
}

/** A run of sequence numbers of one sender that the listener judged: each was received in time or is lost. */
export interface Span {
  /** Null if nothing was received: the numbers are known from the source's account. */
  readonly senderId: number | null;
  readonly firstSeq: number;
  /** Past the last number judged. */
  readonly endSeq: number;
  /** Ascending and disjoint, never touching. */
  readonly lost: readonly LostRange[];
  /** What came while `lost` was full: ranges that enclose received numbers, and at times ranges of `lost`. Ascending. */
  readonly coarse: readonly CoarseLostRange[];
}

/**
 * Consecutive lost numbers. The time runs from the arrival of the highest number before them to the arrival that
 * revealed the gap; it is null only in receipts of other programs. `hostLost` of the numbers are put down to this
 * host's own drops.
 */
export type LostRange = readonly [
  firstSeq: number,
  count: number,
  startNs: number | null,
  durationNs: number | null,
  hostLost: number,
];

/**
 * Several gaps in one: `lost` of the `count` numbers from `firstSeq` on, those of enclosed exact ranges not counted again.
 * The time runs from the start of the first gap to the end of the last.
 */
export type CoarseLostRange = readonly [
  firstSeq: number,
  count: number,
  startNs: number | null,
  durationNs: number | null,
  hostLost: number,
  lost: number,
];

/** Exact ranges that one receipt of a tracker holds, over all its spans. */
export const INTERVAL_RANGES = 2048;
/** Exact ranges that a merged receipt holds. */
export const MERGED_RANGES = 16_384;
/** Coarse ranges of either. */
export const COARSE_RANGES = 256;
/** Spans that a merged receipt holds. */
export const MERGED_SPANS = 1024;
