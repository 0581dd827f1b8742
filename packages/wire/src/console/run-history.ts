import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { VerdictSchema } from "../report/report-schema.ts";

/**
 * What was measured in several runs, run by run, and in one run at every listener of every stream. Unknown is null, never 0.
 */
const Figure = Nullable(Type.Number());

/** Answer of `GET /api/history/trends`: runs in order of time, and for each figure one value a run in the same order. */
export const TrendsSchema = Type.Object({
  runs: Type.Array(
    Type.Object({ runId: Type.String(), scenario: Type.String(), startedAt: Type.String(), verdict: VerdictSchema }),
  ),
  trends: Type.Array(
    Type.Object({
      /** Null: of the whole run. */
      stream: Nullable(Type.String()),
      listener: Nullable(Type.String()),
      /** As the columns of the CSV of receipts are called, unit included; `incidents` and `findings` of the whole run. */
      figure: Type.String(),
      /** Null where it was not measured, or the run had no such stream or listener. */
      values: Type.Array(Figure),
    }),
  ),
});
export type Trends = DeepReadonly<Static<typeof TrendsSchema>>;

/** Answer of `GET /api/runs/:id/matrix`: a row for each listener, a column for each stream. */
export const MatrixSchema = Type.Object({
  runId: Type.String(),
  streams: Type.Array(Type.String()),
  rows: Type.Array(
    Type.Object({
      listener: Type.String(),
      /** In the order of `streams`; null: this listener was not to receive that stream. */
      cells: Type.Array(
        Nullable(
          Type.Object({
            received: Figure,
            lost: Figure,
            lossRatio: Figure,
            hostLost: Figure,
            duplicates: Figure,
            reordered: Figure,
            longestGapMs: Figure,
            jitterMs: Figure,
            joinDelayMs: Figure,
            leaveDelayMs: Figure,
          }),
        ),
      ),
    }),
  ),
});
export type Matrix = DeepReadonly<Static<typeof MatrixSchema>>;
