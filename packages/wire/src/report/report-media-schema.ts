import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";

const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
const Count = Type.Integer({ minimum: 0 });
const Ms = Type.Number({ minimum: 0 });

/** What the headers of a transport stream told at one listener (ISO/IEC 13818-1; names of errors as in ETSI TR 101 290). */
export const ReportTransportStreamSchema = Type.Object({
  /** Packets of 188 bytes. */
  packets: Count,
  nullPackets: Count,
  /** In the last program association table; null where none came. */
  programs: Nullable(Count),
  /** 1.1 and 1.2: packets without their sync byte, and datagrams that hold no whole packets. */
  syncLosses: Count,
  misalignedDatagrams: Count,
  /** 1.4: places where continuity counters do not go on, and the packets that are missing there, at least. */
  continuityErrors: Count,
  missingAtLeast: Count,
  announcedDiscontinuities: Count,
  /** 2.1: packets that their sender marked as damaged. */
  transportErrors: Count,
  /** Packets that came twice in a row, as ISO/IEC 13818-1 permits, and whole datagrams that did. */
  permittedRepeats: Count,
  repeatedDatagrams: Count,
  /** 1.3: program association tables, the longest time between two, and how often it was more than 500 ms. */
  pats: Count,
  patLongestMs: Nullable(Ms),
  patOverdue: Count,
  /** 1.5: the same of program map tables. */
  pmts: Count,
  pmtLongestMs: Nullable(Ms),
  pmtOverdue: Count,
  /** 2.3: clock references, the longest time between two of a program, how often it was more than 100 ms, jumps not announced. */
  pcrs: Count,
  pcrLongestMs: Nullable(Ms),
  pcrOverdue: Count,
  pcrJumps: Count,
  /** How far arrivals swung against a program's clock, end to end, in the worst second. */
  pcrJitterMs: Nullable(Ms),
});

/** What a viewer would have had of a followed stream at one listener. */
export const ReportMediaSchema = Type.Object({
  stream: Type.String(),
  listener: Type.String(),
  /** Of RTP; null otherwise. */
  payloadType: Nullable(Count),
  /** Clock of the timestamps, where the payload type fixes it: jitter needs it. */
  clockHz: Nullable(Count),
  /** Packets with numbers too far off to be believed (RFC 3550, appendix A.1). */
  strayPackets: Nullable(Count),
  /** Whole seconds that the listener was joined, and those of them in which nothing was missing. */
  seconds: Nullable(Count),
  errorFreeSeconds: Nullable(Count),
  transportStream: Nullable(ReportTransportStreamSchema),
  /**
   * The run in pieces of one length: packets received, lost on the way and dropped by the listener's own host; null where nothing is
   * known of a piece. Absent where packets can't be told apart.
   */
  overTime: Type.Optional(
    Type.Object({
      pieceMs: Ms,
      pieces: Type.Array(Nullable(Type.Tuple([Count, Count, Nullable(Count)])), { maxItems: 96 }),
    }),
  ),
});
export type ReportMedia = DeepReadonly<Static<typeof ReportMediaSchema>>;
