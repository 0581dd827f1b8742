import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { RunReportSchema } from "../report/report-schema.ts";
import { UserFileSchema } from "./run-request.ts";

/** A run before it begins. Times in ms count from the run's start. */
export const RunOutlineSchema = Type.Object({
  site: UserFileSchema,
  scenario: Type.String(),
  streams: Type.Array(
    Type.Object({
      streamId: Type.Integer(),
      name: Type.String(),
      /** Name of the agent that sends. */
      source: Type.String(),
      group: Type.String(),
      port: Type.Integer(),
      /** A stream of others, which is followed and not sent: its rate and size only stand in for what nobody knows yet. */
      production: Type.Optional(Type.Literal(true)),
      /** UDP payload bits per second at the first emission. */
      rateBps: Type.Number(),
      payloadBytes: Type.Integer(),
      /** The longest time from packet to packet, or from burst to burst, while it is sent. */
      longestPaceMs: Type.Optional(Type.Number()),
      /** When the source sends; `toMs` is the run's end where nothing stops it. */
      emits: Type.Array(Type.Object({ fromMs: Type.Number(), toMs: Type.Number() })),
    }),
  ),
  /** Planned stays in a group; `toMs` null stays to the run's end. */
  joins: Type.Array(
    Type.Object({
      stream: Type.String(),
      agent: Type.String(),
      fromMs: Type.Number(),
      toMs: Nullable(Type.Number()),
    }),
  ),
});
export type RunOutline = DeepReadonly<Static<typeof RunOutlineSchema>>;

/** What the timeline does next. */
export const RunNextSchema = Type.Object({ what: Type.String(), inMs: Type.Number() });

/** What a run tells whoever follows it: one JSON object a line over HTTP. */
export const RunProgressSchema = Type.Union([
  /** First of all: what is going to happen, so that a follower can draw it. */
  Type.Object({ kind: Type.Literal("outline"), outline: RunOutlineSchema }),
  Type.Object({ kind: Type.Literal("step"), text: Type.String() }),
  /** What is doubtful about the scenario's groups; said before anything is sent. */
  Type.Object({ kind: Type.Literal("advice"), level: Type.String(), text: Type.String(), reference: Type.String() }),
  /** The order is out; the run's time begins in `startsInMs`. */
  Type.Object({ kind: Type.Literal("go"), startsInMs: Type.Number(), lastsMs: Type.Number() }),
  Type.Object({
    kind: Type.Literal("second"),
    atMs: Type.Number(),
    receivedPackets: Type.Integer({ minimum: 0 }),
    /** Null when nothing more happens. */
    next: Nullable(RunNextSchema),
  }),
  Type.Object({ kind: Type.Literal("done"), report: RunReportSchema }),
  Type.Object({ kind: Type.Literal("failed"), code: Type.String(), message: Type.String(), hint: Type.String() }),
]);
export type RunProgress = DeepReadonly<Static<typeof RunProgressSchema>>;
