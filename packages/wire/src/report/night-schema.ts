import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { ReportIncidentSchema } from "./report-schema.ts";

/**
 * What happened in a run, in a form that is read in a minute: answer of `GET /api/runs/:id/night`, and what
 * `report --summary --json` writes. Times in ms count from the run's start; instants are ISO 8601, UTC. Unknown is null, never 0.
 */
const Count = Type.Integer({ minimum: 0 });
const Ms = Type.Number();

export const NightIncidentSchema = Type.Object({
  ...ReportIncidentSchema.properties,
  /** Kind and place, such as `loss: core:1>east:24`: the same in each night, so that nights are held against each other by it. */
  name: Type.String(),
  fromAt: Type.String(),
  toAt: Type.String(),
  /** What the worst are ordered by: time without a stream, added up over listeners and streams; of an absence, its length. */
  harmMs: Ms,
});
export type NightIncident = DeepReadonly<Static<typeof NightIncidentSchema>>;

/**
 * One letter for each cell of time: `.` nothing was measured, `-` all came, `?` all that was measured came, and a part was not
 * measured, `1` under 0.01 % did not come, `2` under 0.1 %, `3` under 1 %, `4` more, `5` nothing came.
 */
const CellsSchema = Type.String({ pattern: "^[-.?1-5]*$" });

const counted = {
  cells: CellsSchema,
  received: Count,
  /** Lost on the way. */
  lost: Count,
  /** Dropped by the listener's own host; null: not known for all of the time. */
  hostLost: Nullable(Count),
  /** Time that the packets which did not come would have filled. */
  withoutMs: Ms,
};

/** One stream at one listener. */
export const NightStripSchema = Type.Object({ stream: Type.String(), listener: Type.String(), ...counted });
/** All streams of one listener: each cell is that of the stream that went worst in it, and figures are sums. */
export const NightListenerSchema = Type.Object({ listener: Type.String(), ...counted });
export type NightStrip = DeepReadonly<Static<typeof NightStripSchema>>;
export type NightListener = DeepReadonly<Static<typeof NightListenerSchema>>;

/** A time of which something is not known. */
export const NightUnwatchedSchema = Type.Object({
  agent: Type.String(),
  fromMs: Ms,
  toMs: Ms,
  /** `never-there`: it took no part; `away`: it measured nothing; `reports-dropped`: it measured and had no room to keep it; `host-drops`: nobody knows what its own host dropped. */
  why: Type.Union([
    Type.Literal("never-there"),
    Type.Literal("away"),
    Type.Literal("reports-dropped"),
    Type.Literal("host-drops"),
  ]),
});
export type NightUnwatched = DeepReadonly<Static<typeof NightUnwatchedSchema>>;

export const NightPatternSchema = Type.Object({
  /** One sentence. */
  sentence: Type.String(),
  /** Chance of seeing it, or anything like it that was looked for, in incidents that know nothing of each other. */
  p: Type.Number({ minimum: 0, maximum: 1 }),
});
export type NightPattern = DeepReadonly<Static<typeof NightPatternSchema>>;

export const NightSchema = Type.Object(
  {
    formatVersion: Type.Literal(1),
    runId: Type.String(),
    site: Type.String(),
    scenario: Type.String(),
    startedAt: Type.String(),
    /** How far it is. */
    untilMs: Ms,
    isOver: Type.Boolean(),
    /** What happened, in one sentence; without times of day, which depend on where they are read. */
    headline: Type.String(),
    /**
     * True: streams of others were followed. What was lost of them is in the incidents and strips once the run is concluded, and
     * the three figures below are of the whole run, null until then and where they are not known of each listener.
     */
    followsOthers: Type.Optional(Type.Boolean()),
    /** False: such a run was so short that its losses were not looked at one by one, so they are in no incident. */
    hasLossIncidents: Type.Optional(Type.Boolean()),
    received: Nullable(Count),
    lost: Nullable(Count),
    hostLost: Nullable(Count),
    /** How long a cell of the strips lasts; the last one may be shorter. */
    cellMs: Ms,
    /** The listener with the longest time without a stream comes first. */
    listeners: Type.Array(NightListenerSchema),
    strips: Type.Array(NightStripSchema),
    /** Of all incidents, who did the most harm comes first. */
    worst: Type.Array(NightIncidentSchema),
    /** In order of time. */
    incidents: Type.Array(NightIncidentSchema),
    patterns: Type.Array(NightPatternSchema),
    unwatched: Type.Array(NightUnwatchedSchema),
    /** Sentences: what there was so much of that only sums were kept, or that it was not looked at. */
    summarised: Type.Array(Type.String()),
  },
  { $id: "https://dyetrace.invalid/run-night-1.schema.json", title: "dyetrace night" },
);
export type Night = DeepReadonly<Static<typeof NightSchema>>;
