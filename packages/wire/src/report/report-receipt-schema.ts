import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";

/** What a report says of one listener and stream. Times in ms count from the run's start; ratios go from 0 to 1. Unknown is null, never 0. */
const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
const Count = Type.Integer({ minimum: 0 });
const Ratio = Type.Number({ minimum: 0, maximum: 1 });
const Ms = Type.Number();

/** Times are null for what was missing before the first or after the last arrival. */
export const ReportGapSchema = Type.Object({
  firstSeq: Count,
  count: Count,
  startMs: Nullable(Ms),
  durationMs: Nullable(Type.Number()),
});

/** Join or leave delays of several trials. Every value is uncertain by up to `resolutionMs`, the packet interval. */
export const ReportDelaySchema = Type.Object({
  /** How many could be measured. */
  trials: Type.Integer({ minimum: 1 }),
  minMs: Type.Number(),
  medianMs: Type.Number(),
  p95Ms: Type.Number(),
  maxMs: Type.Number(),
  resolutionMs: Type.Number(),
  /** In the order of the trials; the first hundred. */
  valuesMs: Type.Array(Type.Number(), { maxItems: 100 }),
});
export type ReportDelay = DeepReadonly<Static<typeof ReportDelaySchema>>;

/** How much longer packets were under way than the fastest of the same 10 s (RFC 5481, section 4.2). */
export const ReportVariationSchema = Type.Object({
  meanMs: Type.Number(),
  medianMs: Type.Number(),
  p99Ms: Type.Number(),
  p999Ms: Type.Number(),
  maxMs: Type.Number(),
});
export type ReportVariation = DeepReadonly<Static<typeof ReportVariationSchema>>;

/** Packets that later ones overtook (RFC 4737). */
export const ReportReorderingSchema = Type.Object({
  ratio: Ratio,
  /** How many packets overtook one (extent, section 4.2.3). */
  meanExtent: Type.Number(),
  maxExtent: Count,
  /** How long the latest came after the packet that overtook it first (section 4.3.3). */
  maxLateMs: Type.Number(),
});
export type ReportReordering = DeepReadonly<Static<typeof ReportReorderingSchema>>;

/** How the missing packets lie among those sent. Null from `medianDistance` on where gaps are no longer known one by one. */
export const ReportLossPatternSchema = Type.Object({
  /** Runs of consecutive losses, and the longest (RFC 3357, section 5.4). */
  periods: Count,
  longestPeriod: Count,
  /** From the last loss of one period to the first of the next, the middle of all. */
  medianDistance: Nullable(Count),
  /** Share of the losses within 99 packets of another (RFC 3357, section 6.1). */
  noticeableRatio: Nullable(Ratio),
  /** Before the first packet that came, and after the last. */
  beforeFirst: Nullable(Count),
  afterLast: Nullable(Count),
  /** Bursts of loss, with fewer than 16 packets in a row received within each (RFC 3611, section 4.7.2). */
  bursts: Nullable(Count),
  meanBurstPackets: Nullable(Type.Number()),
  burstLossRatio: Nullable(Ratio),
  meanGapPackets: Nullable(Type.Number()),
  gapLossRatio: Nullable(Ratio),
});
export type ReportLossPattern = DeepReadonly<Static<typeof ReportLossPatternSchema>>;

/** One listener's reception of one stream, over all its stays in the group. */
export const ReportReceiptSchema = Type.Object({
  stream: Type.String(),
  listener: Type.String(),
  /** How often it was to join. */
  stays: Type.Integer({ minimum: 1 }),
  /** A program of the host's own has joined a stream of others, this run has not: what came was followed at the network card. */
  isOfHost: Type.Optional(Type.Literal(true)),
  /**
   * Packets the source sent while this listener was joined; null when the source's count is unknown. Of a partial receipt
   * those that the listener can tell of.
   */
  sent: Nullable(Count),
  /**
   * Present where the receipt is partial: the listener's agent was away or lost for a time, or a report of it never
   * arrived. Packets sent then, of which nobody can say whether they came; not in `sent`, `received` and `lost`.
   */
  unknown: Type.Optional(Count),
  received: Nullable(Count),
  lost: Nullable(Count),
  lossRatio: Nullable(Ratio),
  /** Packets lost in the warm-up that the scenario states, not in `sent` and `lost`; absent where it states none. */
  warmUpLost: Type.Optional(Nullable(Count)),
  /** Packets that reached this host and were dropped by the host itself. */
  hostLost: Nullable(Count),
  duplicates: Nullable(Count),
  reordered: Nullable(Count),
  gaps: Type.Array(ReportGapSchema),
  longestGapMs: Nullable(Type.Number()),
  jitterMs: Nullable(Type.Number()),
  /** From the report on the wire to the first packet (RFC 2432 3.4.1), the median over its stays. */
  joinDelayMs: Nullable(Type.Number()),
  /** From the leave on the wire to the last frame at the network card (RFC 2432 3.4.2), the median. */
  leaveDelayMs: Nullable(Type.Number()),
  joinDelays: Nullable(ReportDelaySchema),
  leaveDelays: Nullable(ReportDelaySchema),
  /** Leaves after which the stream came until it or the watch ended: their delay is longer than was waited. */
  leavesWithoutEffect: Nullable(Count),
  /** Of those, the longest that was waited: the delay is at least this. Null where there was none. */
  leaveDelayAtLeastMs: Type.Optional(Nullable(Type.Number())),
  hops: Nullable(Type.Integer()),
  asUnicastRatio: Nullable(Ratio),
  /** Packets on the group that are not of this run. */
  foreign: Nullable(Count),
  /** From here on absent in reports of earlier versions. Over whole stays, a warm-up included. */
  delayVariation: Type.Optional(Nullable(ReportVariationSchema)),
  jitterMaxMs: Type.Optional(Nullable(Type.Number())),
  /** Null where nothing came out of order, or nobody knows. */
  reordering: Type.Optional(Nullable(ReportReorderingSchema)),
  /** Packets of which copies came: `duplicates` are the copies (RFC 5560). */
  duplicatedPackets: Type.Optional(Nullable(Count)),
  /** Came so late that nobody can tell a late packet from an old copy: their numbers count as lost. */
  latePackets: Type.Optional(Nullable(Count)),
  lossPattern: Type.Optional(Nullable(ReportLossPatternSchema)),
  /** Worst second (RFC 4445): buffer that evens out the arrivals, and packets lost or out of order in one second. */
  delayFactorMaxMs: Type.Optional(Nullable(Type.Number())),
  mediaLossMaxPps: Type.Optional(Nullable(Count)),
  /** Packets of a second sender of the same stream, and how often the source began anew. */
  otherSenderPackets: Type.Optional(Nullable(Count)),
  senderRestarts: Type.Optional(Nullable(Count)),
});
export type ReportReceipt = DeepReadonly<Static<typeof ReportReceiptSchema>>;
