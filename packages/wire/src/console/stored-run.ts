import Type, { type Static } from "@dyetrace/schema";
import { RunRequestSchema } from "../control/run-request.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { RunReportSchema, VerdictSchema } from "../report/report-schema.ts";
import { PlanDrawingSchema } from "./plan-drawing.ts";
import { RunFailureSchema } from "./run-failure.ts";

/** `scheduled` waits for its time; `running` may be picked up by a restarted controller; the others are over. */
const RunStateSchema = Type.Union([
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
});
export type RunSummary = DeepReadonly<Static<typeof RunSummarySchema>>;

/** `GET /api/console/runs/:id`. */
export const StoredRunSchema = Type.Object({
  ...RunSummarySchema.properties,
  drawing: PlanDrawingSchema,
  request: RunRequestSchema,
  /** Null while it goes on, and where it could not run. */
  report: Nullable(RunReportSchema),
  failure: Nullable(RunFailureSchema),
});
export type StoredRun = DeepReadonly<Static<typeof StoredRunSchema>>;

/** Which run: answer of `POST /api/runs` and of `/api/baselines/:name`. */
export const RunIdSchema = Type.Object({ runId: Type.String() });
