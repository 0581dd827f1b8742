import Type, { type Static } from "@dyetrace/schema";
import { Count, DurationNs, Ns, words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { StreamReceiptSchema } from "./receipt-schema.ts";

/**
 * What a host tells of a stream that is not ours: numbers, names and times of its packets, never their payload. The names of
 * packages/measure, where every field is explained.
 */
const orNull = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);

/** Packets of one flow, each by the digest of its payload and its time: 8 characters for each, see `name-block.ts`. */
export const NameBlockSchema = Type.Object({
  shift: Type.Integer({ minimum: 0, maximum: 16 }),
  baseNs: Ns,
  text: Type.String({ maxLength: 1_000_000, pattern: "^[A-Za-z0-9_-]*$" }),
  breaks: Type.Array(Type.Tuple([Count, Count]), { maxItems: 4096 }),
});

export const TsFlowSchema = Type.Object({
  datagrams: Count,
  packets: Count,
  nullPackets: Count,
  misalignedDatagrams: Count,
  syncLosses: Count,
  transportErrors: Count,
  continuityErrors: Count,
  missingAtLeast: Count,
  permittedRepeats: Count,
  announcedDiscontinuities: Count,
  repeatedDatagrams: Count,
  pcrs: Count,
  pcrLongestNs: orNull(DurationNs),
  pcrOverdue: Count,
  pcrJumps: Count,
  pcrJitterNs: orNull(DurationNs),
  pats: Count,
  patLongestNs: orNull(DurationNs),
  patOverdue: Count,
  pmts: Count,
  pmtLongestNs: orNull(DurationNs),
  pmtOverdue: Count,
  programs: orNull(Count),
});

export const RtpFlowSchema = Type.Object({
  ssrc: Type.Integer({ minimum: 0, maximum: 0xffffffff }),
  payloadType: Type.Integer({ minimum: 0, maximum: 127 }),
  clockHz: orNull(Count),
  packets: Count,
  bytes: Count,
  rejected: Count,
  receipt: StreamReceiptSchema,
  ts: orNull(TsFlowSchema),
});

export const FollowedSchema = Type.Object({
  /** The first few addresses that it came from. */
  sources: Type.Array(words(64), { maxItems: 8 }),
  /** By SSRC. */
  rtp: Type.Array(RtpFlowSchema, { maxItems: 16 }),
  /** All packets that bear no RTP number. */
  digest: Type.Object({
    packets: Count,
    bytes: Count,
    names: Type.Array(NameBlockSchema, { maxItems: 65_536 }),
    ts: orNull(TsFlowSchema),
  }),
});
export type Followed = DeepReadonly<Static<typeof FollowedSchema>>;

/** How a stream of others is to be named, for the agents of a run. Since protocol 10. */
export const FollowTaskSchema = Type.Object({
  format: orNull(Type.Union([Type.Literal("rtp"), Type.Literal("mpeg-ts"), Type.Literal("any")])),
  /** Packets without a number that are named in one interval, at most. */
  namesPerInterval: Type.Integer({ minimum: 16, maximum: 20_000 }),
});
