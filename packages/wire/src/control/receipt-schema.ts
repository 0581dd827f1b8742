import Type, { type Static } from "@dyetrace/schema";
import { Count, DurationNs, Ns, SumOfNs } from "../bounds.ts";

/**
 * JSON form of what one listener measured of one stream in an interval: the `StreamReceipt` of packages/measure, where
 * every field is explained. Beside the form, the bounds of its lists: nothing that an agent sends is without a bound. On the way
 * and in the store it is written shorter, see `report-form.ts`.
 */
const Seq = Count;
const orNull = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);

/** One class of a distribution, and how many values fell into it. */
const BinSchema = Type.Tuple([Type.Integer({ minimum: -2495, maximum: 2495 }), Count]);
export const HistogramSchema = Type.Object({
  count: Count,
  sum: SumOfNs,
  min: orNull(Ns),
  max: orNull(Ns),
  bins: Type.Array(BinSchema, { maxItems: 4991 }),
});

const StretchSchema = Type.Object({ startNs: orNull(Ns), durationNs: DurationNs });

const SpanSchema = Type.Object({
  senderId: orNull(Type.Integer({ minimum: 0, maximum: Number.MAX_SAFE_INTEGER })),
  firstSeq: Seq,
  endSeq: Seq,
  /** `[firstSeq, count, startNs, durationNs, hostLost]` */
  lost: Type.Array(Type.Tuple([Seq, Count, orNull(Ns), orNull(DurationNs), Count]), { maxItems: 16_384 }),
  /** `[firstSeq, count, startNs, durationNs, hostLost, lost]` */
  coarse: Type.Array(Type.Tuple([Seq, Count, orNull(Ns), orNull(DurationNs), Count, Count]), { maxItems: 256 }),
});

export const StreamReceiptSchema = Type.Object({
  isFirst: Type.Boolean(),
  isFinal: Type.Boolean(),
  received: Count,
  receivedBytes: Count,
  firstCopies: Count,
  duplicates: Count,
  duplicatedPackets: Count,
  latePackets: Count,
  reordered: Count,
  reorderExtentSum: Count,
  reorderExtentMax: Count,
  reorderLateMaxNs: DurationNs,
  lost: Count,
  hostDrops: orNull(Count),
  hostLost: orNull(Count),
  lossPeriods: Count,
  longestLossPeriod: Count,
  longestGap: orNull(StretchSchema),
  longestSilence: orNull(StretchSchema),
  firstArrivalNs: orNull(Ns),
  lastArrivalNs: orNull(Ns),
  spans: Type.Array(SpanSchema, { maxItems: 1024 }),
  spansOmitted: Count,
  jitterNs: orNull(DurationNs),
  jitterMaxNs: orNull(DurationNs),
  pdvNs: HistogramSchema,
  delayFactorMaxNs: orNull(DurationNs),
  mediaLossMaxPps: orNull(Count),
  ttlMin: orNull(Type.Integer({ minimum: 0, maximum: 255 })),
  ttlMax: orNull(Type.Integer({ minimum: 0, maximum: 255 })),
  dscpSeen: Type.Array(Type.Tuple([Type.Integer({ minimum: 0, maximum: 63 }), Count]), { maxItems: 64 }),
  senderRestarts: Count,
  otherSenderPackets: Count,
});
export type StreamReceiptMessage = Static<typeof StreamReceiptSchema>;
