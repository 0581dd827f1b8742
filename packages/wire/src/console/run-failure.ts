import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";

/** Why a run has no report. */
export const RunFailureSchema = Type.Object({ code: Type.String(), message: Type.String(), hint: Type.String() });
export type RunFailure = DeepReadonly<Static<typeof RunFailureSchema>>;
