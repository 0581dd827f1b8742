import Type, { type Static } from "@dyetrace/schema";
import { RunNextSchema, RunOutlineSchema } from "../control/run-progress.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { RunReportSchema } from "../report/report-schema.ts";
import { PlanDrawingSchema } from "./plan-drawing.ts";
import { RunFailureSchema } from "./run-failure.ts";

/** The run that is going on, or the last one. Times in ms count from its start. */
export const ConsoleRunSchema = Type.Object({
  runId: Type.String(),
  outline: RunOutlineSchema,
  drawing: PlanDrawingSchema,
  stage: Type.Union([
    Type.Literal("preparing"),
    Type.Literal("running"),
    Type.Literal("concluding"),
    Type.Literal("over"),
  ]),
  steps: Type.Array(Type.String()),
  /** What the timeline does next; null when nothing more happens, or nobody has said. */
  next: Nullable(RunNextSchema),
  /** How far the run was when this was written (negative before its start); null before the order to start is out. */
  atMs: Nullable(Type.Number()),
  lastsMs: Nullable(Type.Number()),
  /** ISO 8601, by the controller's clock; null before the order to start is out. */
  startedAt: Nullable(Type.String()),
  report: Nullable(RunReportSchema),
  failure: Nullable(RunFailureSchema),
});
export type ConsoleRun = DeepReadonly<Static<typeof ConsoleRunSchema>>;
