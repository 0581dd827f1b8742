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

const Hidden = Type.Integer({
  minimum: 0,
  description: "How many faults stand beside these that nobody is told of yet.",
});

/** `GET /api/practice`: the practice site that stands. */
export const PracticeAnswerSchema = Type.Object({
  site: Type.String(),
  querier: Nullable(Type.String()),
  /** In the order in which they were put in. */
  standing: Type.Array(StandingFaultSchema),
  hidden: Hidden,
  kinds: Type.Array(FaultKindSchema),
});
export type PracticeAnswer = DeepReadonly<Static<typeof PracticeAnswerSchema>>;
export type StandingFault = PracticeAnswer["standing"][number];
export type FaultKind = PracticeAnswer["kinds"][number];

/** What stands after a change. */
export const StandingFaultsSchema = Type.Object({ standing: Type.Array(StandingFaultSchema), hidden: Hidden });
export type StandingFaults = DeepReadonly<Static<typeof StandingFaultsSchema>>;

/** `POST /api/practice/hidden`: faults drawn by chance, for whoever shall find them. */
export const HideFaultsSchema = Type.Object(
  {
    count: Type.Integer({ minimum: 1, maximum: 5 }),
    /** The same seed draws the same faults on the same plan. */
    seed: Type.Integer({ minimum: 0, maximum: 0xffff_ffff }),
    /** The agent that will send: faults then lie on the ways from it. */
    source: Type.Optional(Type.String({ minLength: 1, maxLength: 200 })),
  },
  { additionalProperties: false },
);
export type HideFaults = DeepReadonly<Static<typeof HideFaultsSchema>>;

/** `POST /api/practice/reveal`: the faults that were hidden until now; from now on they are told like all others. */
export const RevealedFaultsSchema = Type.Object({
  revealed: Type.Array(StandingFaultSchema),
  standing: Type.Array(StandingFaultSchema),
});
export type RevealedFaults = DeepReadonly<Static<typeof RevealedFaultsSchema>>;
