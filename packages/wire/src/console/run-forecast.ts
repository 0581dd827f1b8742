import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { FileMistakeSchema } from "./file-mistake.ts";

/** What a run would do, in words, before anything is sent. Times in ms count from the run's start. */
export const RunForecastSchema = Type.Object({
  scenario: Type.String(),
  about: Nullable(Type.String()),
  lastsMs: Type.Number(),
  steps: Type.Array(Type.Object({ atMs: Type.Number(), sentence: Type.String() })),
  /** Steps of the timeline beyond those in `steps`. */
  furtherSteps: Type.Integer({ minimum: 0 }),
  expects: Type.Array(Type.String()),
  /** Agents that the run needs, and which of them are not connected. */
  needs: Type.Array(Type.String()),
  missing: Type.Array(Type.String()),
  loads: Type.Array(Type.Object({ segment: Type.String(), loadBps: Type.Number(), speedBps: Nullable(Type.Number()) })),
  cautions: Type.Array(
    Type.Object({
      level: Type.Union([Type.Literal("refuse"), Type.Literal("warn"), Type.Literal("note")]),
      sentence: Type.String(),
      reference: Type.String(),
    }),
  ),
  /** The words without which a live site's run does not start, for it loads a link much; null: none are asked for. */
  confirmation: Nullable(Type.String()),
  /** What to have thought of before traffic goes onto a live site; empty on a practice site. */
  thoughts: Type.Array(Type.String()),
});
export type RunForecast = DeepReadonly<Static<typeof RunForecastSchema>>;

/** Answer of `POST /api/console/run-check` to a `RunRequest`: what the run would do, or what is wrong with it. */
export const RunAnswerSchema = Type.Union([
  Type.Object({
    kind: Type.Literal("mistakes"),
    of: Type.Union([Type.Literal("site"), Type.Literal("scenario")]),
    mistakes: Type.Array(FileMistakeSchema),
  }),
  Type.Object({ kind: Type.Literal("run"), forecast: RunForecastSchema }),
]);
export type RunAnswer = DeepReadonly<Static<typeof RunAnswerSchema>>;

/** Answer of `POST /api/runs/need`: what a run takes on the controller's disk, and on an agent's if that stays away. */
export const DiskNeedSchema = Type.Object({
  controllerBytes: Type.Integer({ minimum: 0 }),
  /** On the agent that measures most. */
  agentBytes: Type.Integer({ minimum: 0 }),
});
export type DiskNeed = DeepReadonly<Static<typeof DiskNeedSchema>>;
