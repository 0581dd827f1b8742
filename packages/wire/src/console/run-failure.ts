import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";

/** Why a run has no report. */
export const RunFailureSchema = Type.Object({ code: Type.String(), message: Type.String(), hint: Type.String() });
export type RunFailure = DeepReadonly<Static<typeof RunFailureSchema>>;

/** How a run without a report ended: somebody did not want it, or it was not possible. */
export const failureWords = ({ code }: Pick<RunFailure, "code">): "cancelled" | "could not run" =>
  code === "RUN_CANCELLED" ? "cancelled" : "could not run";

/** "Run 00a1 was cancelled". */
export const saysFailure = (runId: string, failure: Pick<RunFailure, "code">): string =>
  `Run ${runId} ${failureWords(failure) === "cancelled" ? "was cancelled" : "could not run"}`;
