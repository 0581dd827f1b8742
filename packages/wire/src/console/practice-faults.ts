import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** A fault that stands on the practice site. */
const StandingFaultSchema = Type.Object({
  /** Of this controller: no two have the same. */
  number: Type.Integer({ minimum: 1 }),
  /** Its kind, as a fault file names it. */
  fault: Type.String(),
  /** The segment, port or node of the plan. */
  on: Type.String(),
  /** What else was said of it, such as `share: 5 %`; empty where nothing was. */
  with: Type.String(),
});

/** A kind of fault, explained, with the places where this site can have it. */
const FaultKindSchema = Type.Object({
  fault: Type.String(),
  does: Type.String(),
  stands: Type.String(),
  places: Type.Array(Type.String()),
  parameters: Type.Array(Type.Object({ name: Type.String(), example: Type.String(), isNeeded: Type.Boolean() })),
});

/** `GET /api/practice`: the practice site that stands. */
export const PracticeAnswerSchema = Type.Object({
  site: Type.String(),
  querier: Nullable(Type.String()),
  /** In the order in which they were put in. */
  standing: Type.Array(StandingFaultSchema),
  kinds: Type.Array(FaultKindSchema),
});
export type PracticeAnswer = DeepReadonly<Static<typeof PracticeAnswerSchema>>;
export type StandingFault = PracticeAnswer["standing"][number];
export type FaultKind = PracticeAnswer["kinds"][number];

/** What stands after a change. */
export const StandingFaultsSchema = Type.Object({ standing: Type.Array(StandingFaultSchema) });
