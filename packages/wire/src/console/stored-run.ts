import Type, { type Static } from "@dyetrace/schema";
import { words } from "../bounds.ts";
import { RunRequestSchema } from "../control/run-request.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { RunReportSchema, VerdictSchema } from "../report/report-schema.ts";
import { PlanDrawingSchema } from "./plan-drawing.ts";
import { RunFailureSchema } from "./run-failure.ts";

/** `scheduled` waits for its time; `running` may be picked up by a restarted controller; the others are over. */
export const RunStateSchema = Type.Union([
  Type.Literal("scheduled"),
  Type.Literal("running"),
  Type.Literal("done"),
  Type.Literal("failed"),
]);
export type RunState = Static<typeof RunStateSchema>;

/** An entry of `GET /api/runs`. Instants are ISO 8601, UTC. */
export const RunSummarySchema = Type.Object({
  runId: Type.String(),
  state: RunStateSchema,
  site: Type.String(),
  scenario: Type.String(),
  verdict: Nullable(VerdictSchema),
  createdAt: Type.String(),
  /** When it is to start; null: at once. */
  startAt: Nullable(Type.String()),
  startedAt: Nullable(Type.String()),
  endedAt: Nullable(Type.String()),
  /** Names under which later runs are compared with it. */
  baselines: Type.Array(Type.String()),
  /** Words by which operators find it again. */
  tags: Type.Array(Type.String()),
  /** What an operator wrote to it; null: nothing. */
  note: Nullable(Type.String()),
  /** Why it has no report, where it is over without one. */
  failure: Nullable(RunFailureSchema),
});
export type RunSummary = DeepReadonly<Static<typeof RunSummarySchema>>;

/** `GET /api/console/runs/:id`. */
export const StoredRunSchema = Type.Object({
  ...RunSummarySchema.properties,
  drawing: PlanDrawingSchema,
  request: RunRequestSchema,
  /** Null while it goes on, and where it could not run. */
  report: Nullable(RunReportSchema),
});
export type StoredRun = DeepReadonly<Static<typeof StoredRunSchema>>;

/** `GET /api/runs/:id`: everything that is kept of a run beside its interval reports. */
export const RunRecordSchema = Type.Object({
  ...RunSummarySchema.properties,
  request: RunRequestSchema,
  /** Null while it goes on, and where it could not run. */
  report: Nullable(RunReportSchema),
  programVersion: Type.String(),
  /** Its start on the wall clock, and on the monotonic clock of one boot of the controller's machine; null before it. */
  start: Nullable(Type.Object({ wallMs: Type.Number(), controllerNs: Type.Number(), bootId: Type.String() })),
  /** The controller's own: what it told each agent to do. */
  compiled: Type.Unknown(),
  endNs: Type.Number(),
  /** The controller that conducts it. */
  owner: Type.String(),
  heartbeatMs: Type.Number(),
  /** Rises each time another controller takes the run. */
  epoch: Type.Integer(),
  isStopAsked: Type.Boolean(),
});

/** Which run: answer of `POST /api/runs` and of `/api/baselines/:name`. */
export const RunIdSchema = Type.Object({ runId: Type.String() });

/** Entry of `GET /api/baselines`. */
export const BaselineSchema = Type.Object({ name: Type.String(), runId: Type.String(), namedAt: Type.String() });
export type Baseline = DeepReadonly<Static<typeof BaselineSchema>>;

/** Of a tag. */
export const TAG_FORM = "^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$";
const TagSchema = Type.String({ pattern: TAG_FORM });

/** Body of `PATCH /api/runs/:id`: what is left out stays as it is. */
export const MarkChangeSchema = Type.Object(
  {
    /** Null takes the note away. */
    note: Type.Optional(Nullable(words(2000, 1))),
    addTags: Type.Optional(Type.Array(TagSchema, { maxItems: 20 })),
    removeTags: Type.Optional(Type.Array(words(40), { maxItems: 20 })),
  },
  { additionalProperties: false },
);
export type MarkChange = DeepReadonly<Static<typeof MarkChangeSchema>>;

/** Query of `GET /api/runs`; what is left out lets every run through. */
export const RunQuerySchema = Type.Object({
  most: Type.Optional(Type.Integer({ minimum: 1, maximum: 10_000 })),
  site: Type.Optional(words(200)),
  scenario: Type.Optional(words(200)),
  verdict: Type.Optional(VerdictSchema),
  tag: Type.Optional(words(40)),
  /** ISO 8601: made at that instant or later. */
  since: Type.Optional(Type.String({ format: "date-time", maxLength: 40 })),
});
export type RunQuery = DeepReadonly<Static<typeof RunQuerySchema>>;
