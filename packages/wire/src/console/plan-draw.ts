import Type, { type Static } from "@dyetrace/schema";
import { UserFileSchema } from "../control/run-request.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** Body of `POST /api/console/plan-draw`. */
export const PlanToDrawSchema = Type.Object(
  {
    /** The plan that changes are proposed to; null: a plan of its own is drawn. */
    updates: Nullable(UserFileSchema),
  },
  { additionalProperties: false },
);
export type PlanToDraw = DeepReadonly<Static<typeof PlanToDrawSchema>>;

const Count = Type.Integer({ minimum: 0 });

export const DrawnPlanSchema = Type.Object({
  kind: Type.Literal("drawn"),
  text: Type.String(),
  nodes: Count,
  /** Links by what they rest on. */
  seen: Count,
  concluded: Count,
  open: Count,
  questions: Count,
});
export type DrawnPlan = DeepReadonly<Static<typeof DrawnPlanSchema>>;

/** Its answer, a line each: how far it is, what could not be read, and last the plan or why there is none. */
export const DrawEventSchema = Type.Union([
  Type.Object({ kind: Type.Literal("reading"), done: Count, of: Count }),
  Type.Object({ kind: Type.Literal("unread"), says: Type.String() }),
  DrawnPlanSchema,
  Type.Object({ kind: Type.Literal("failed"), code: Type.String(), message: Type.String(), hint: Type.String() }),
]);
export type DrawEvent = DeepReadonly<Static<typeof DrawEventSchema>>;
