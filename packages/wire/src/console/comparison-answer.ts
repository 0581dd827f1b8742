import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

export const ComparisonOutcomeSchema = Type.Union([
  Type.Literal("worse"),
  Type.Literal("better"),
  Type.Literal("same"),
  Type.Literal("cant-tell"),
]);
export type ComparisonOutcome = Static<typeof ComparisonOutcomeSchema>;

/** What went the same way, with the places that explain it. */
const ChangeSchema = Type.Object({
  what: Type.String(),
  stream: Nullable(Type.String()),
  outcome: Type.Union([Type.Literal("worse"), Type.Literal("better")]),
  listeners: Type.Array(Type.String()),
  places: Type.Array(Type.String()),
  /** Probability that the true cause is among the places; absent where they were not reasoned out from who was hit. */
  confidence: Type.Optional(Type.Number({ minimum: 0, maximum: 1 })),
  because: Type.String(),
});

/** One thing that both runs measured, held against each other. */
const ComparisonSchema = Type.Object({
  /** Such as `loss` or `leave delay`. */
  what: Type.String(),
  stream: Nullable(Type.String()),
  /** Null: all listeners of the stream together. With no stream: all streams of the listener. */
  listener: Nullable(Type.String()),
  /** Segments and nodes that it points to; empty where it points nowhere. */
  places: Type.Array(Type.String()),
  before: Type.String(),
  after: Type.String(),
  /** Of the test; null where nothing had to be tested. */
  p: Nullable(Type.Number({ minimum: 0, maximum: 1 })),
  /** The difference is large enough to matter, chance or not. */
  isMaterial: Type.Boolean(),
  /** The greatest rise of a share that the data allow, where shares were compared; else null. */
  allows: Nullable(Type.Number({ minimum: 0 })),
  /** The greatest rise of a time that the data allow, where times were compared and they bound it; else null. */
  allowsMs: Nullable(Type.Number({ minimum: 0 })),
  /** No further later run decides it: the earlier run did not measure what it takes. */
  isBarred: Type.Boolean(),
  outcome: ComparisonOutcomeSchema,
  /** Why, in one sentence. */
  because: Type.String(),
});

/** `GET /api/console/runs/:id/comparison?against=:id`: the later run held against the earlier one. */
export const ComparisonAnswerSchema = Type.Object({
  outcome: ComparisonOutcomeSchema,
  reason: Type.String(),
  changes: Type.Array(ChangeSchema),
  comparisons: Type.Array(ComparisonSchema),
  notes: Type.Array(Type.String()),
  /** What makes the two no pair: differences of their scenarios or plans. */
  differences: Type.Array(Type.String()),
});
export type ComparisonAnswer = DeepReadonly<Static<typeof ComparisonAnswerSchema>>;
