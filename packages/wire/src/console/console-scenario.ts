import Type, { type Static } from "@dyetrace/schema";
import { UserFileSchema } from "../control/run-request.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

export const ConsoleParameterSchema = Type.Object({
  name: Type.String(),
  /** Its default as text; null where it must be set. */
  value: Nullable(Type.String()),
  /** What the file says beside it; empty where it says nothing. */
  note: Type.String(),
  /** An agent's name, a list of them, or anything else. */
  takes: Type.Union([Type.Literal("agent"), Type.Literal("agents"), Type.Literal("text")]),
});
export type ConsoleParameter = DeepReadonly<Static<typeof ConsoleParameterSchema>>;

/** An entry of `GET /api/console/scenarios`: what can be run without pasting anything. */
export const ConsoleScenarioSchema = Type.Object({
  text: UserFileSchema,
  name: Type.String(),
  about: Type.String(),
  parameters: Type.Array(ConsoleParameterSchema),
});
export type ConsoleScenario = DeepReadonly<Static<typeof ConsoleScenarioSchema>>;
