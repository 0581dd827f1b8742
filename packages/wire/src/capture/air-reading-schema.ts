import Type, { type Static } from "@dyetrace/schema";
import { Nullable } from "../nullable.ts";

const Count = Type.Integer({ minimum: 0 });

/** What one kind of frames came to. Times are sums by the standard's formulas; null where a frame's mode is unknown. */
export const AirCountSchema = Type.Object(
  {
    frames: Count,
    /** MAC frames with FCS. */
    bytes: Count,
    /** Whom they were sent to: addresses over the air, 256 at most are told apart. */
    receivers: Count,
    /** Frames that say that they were sent before. */
    retries: Count,
    /** Of the frames that ask for an answer; null where none asks, or where the capture has no answers at all. */
    acknowledgedRatio: Nullable(Type.Number({ minimum: 0, maximum: 1 })),
    /** Most frequent first. */
    modes: Type.Array(Type.Object({ mode: Type.String(), frames: Count }, { additionalProperties: false })),
    unknownModeFrames: Count,
    /** Frames alone. */
    airMs: Nullable(Type.Number({ minimum: 0 })),
    /** With what goes before them (DIFS, mean backoff) and after (SIFS and answer, where one was seen). */
    takenMs: Nullable(Type.Number({ minimum: 0 })),
    /** Of the capture's length. */
    shareRatio: Nullable(Type.Number({ minimum: 0 })),
  },
  { additionalProperties: false },
);
export type AirCountReading = Static<typeof AirCountSchema>;

export const AirGroupSchema = Type.Object(
  {
    /** Null where frames are encrypted, and only their link-layer address can be read. */
    group: Nullable(Type.String()),
    linkAddress: Nullable(Type.String()),
    /** Which groups share that address, where the group itself is not readable. */
    oneOf: Nullable(Type.String()),
    /** Sent once to all. */
    groupAddressed: AirCountSchema,
    /** Sent to single stations. */
    asUnicast: AirCountSchema,
    /** Sent by stations to their access point, which passes it on. */
    fromStations: AirCountSchema,
  },
  { additionalProperties: false },
);
export type AirGroupReading = Static<typeof AirGroupSchema>;

/** What a capture of the air says about multicast. `dyetrace-agent air FILE --json` writes it. */
export const AirReadingSchema = Type.Object(
  {
    format: Nullable(Type.Union([Type.Literal("pcap"), Type.Literal("pcapng")])),
    /** First frame, ISO 8601; null where the file has no times. */
    startedAt: Nullable(Type.String()),
    durationMs: Nullable(Type.Number({ minimum: 0 })),
    frames: Count,
    /** Damaged as they were received: not counted below. */
    damagedFrames: Count,
    /** Not of the air, or behind a header that can't be read. */
    unreadableFrames: Count,
    /** Whether acknowledgements are in the capture. */
    hasAnswers: Type.Boolean(),
    /** Most time on the air first. */
    groups: Type.Array(AirGroupSchema),
    /** Frames of groups beyond those that are told apart. */
    furtherGroupFrames: Count,
    /** Frames for one station that are encrypted: whether they carry multicast is unknown. */
    unreadableUnicast: AirCountSchema,
    broadcast: AirCountSchema,
    problem: Nullable(Type.Object({ offset: Count, sentence: Type.String() }, { additionalProperties: false })),
  },
  { additionalProperties: false },
);
export type AirReading = Static<typeof AirReadingSchema>;
