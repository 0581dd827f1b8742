import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";

/** `GET /api/console/runs/:id/replay`: what each listener got in each piece of a run's time. */
export const RunReplaySchema = Type.Object({
  /** ISO 8601: when the first piece begins. */
  startedAt: Type.String(),
  /** How long a piece is: a second of a short run, one or more minutes of a long one. */
  cellMs: Type.Number(),
  cells: Type.Integer({ minimum: 0 }),
  strips: Type.Array(
    Type.Object({
      agent: Type.String(),
      stream: Type.String(),
      /**
       * A `LiveMark` a piece, from the first on; a blank where nothing was told, or cannot be told any more. In pieces of
       * minutes `n` stands for all that a followed stream's listener may have got: there are no sums of it.
       */
      marks: Type.String(),
    }),
  ),
});
export type RunReplay = DeepReadonly<Static<typeof RunReplaySchema>>;
