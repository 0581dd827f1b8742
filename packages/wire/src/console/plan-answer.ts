import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { FileMistakeSchema } from "./file-mistake.ts";
import { PlanDrawingSchema } from "./plan-drawing.ts";

export const PlanCoverageSchema = Type.Object({
  agents: Type.Integer({ minimum: 0 }),
  querier: Nullable(Type.Object({ node: Type.String(), isAssumed: Type.Boolean() })),
  /** Host whose traffic was assumed. */
  source: Nullable(Type.String()),
  ambiguousSets: Type.Array(Type.Array(Type.String())),
  untested: Type.Array(Type.String()),
  nextAgentAt: Nullable(Type.String()),
  /** Share of pairs of single faults that look different; null with no pair. */
  separableRatio: Nullable(Type.Number({ minimum: 0, maximum: 1 })),
});
export type PlanCoverage = DeepReadonly<Static<typeof PlanCoverageSchema>>;

/** On what a line of a drawn plan rests, as its comment says. */
export const RestsSchema = Type.Object({
  by: Type.Union([Type.Literal("seen"), Type.Literal("concluded"), Type.Literal("open")]),
  because: Type.String(),
});

export const PlanRestsSchema = Type.Object({
  nodes: Type.Record(Type.String(), RestsSchema),
  /** By their place in the plan's list; null where a line is not a drawing's, or was changed by hand. */
  links: Type.Array(Nullable(RestsSchema)),
});
export type PlanRests = DeepReadonly<Static<typeof PlanRestsSchema>>;

/** Answer of `POST /api/console/plan-check` to a `UserFile`. */
export const PlanAnswerSchema = Type.Union([
  Type.Object({ kind: Type.Literal("mistakes"), mistakes: Type.Array(FileMistakeSchema) }),
  Type.Object({
    kind: Type.Literal("plan"),
    drawing: PlanDrawingSchema,
    coverage: PlanCoverageSchema,
    rests: PlanRestsSchema,
  }),
]);
export type PlanAnswer = DeepReadonly<Static<typeof PlanAnswerSchema>>;
