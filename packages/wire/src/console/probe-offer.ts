import Type, { type Static } from "@dyetrace/schema";
import { RunRequestSchema } from "../control/run-request.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** `GET /api/runs/:id/probe`: the run that would part a finding's suspects best. Nothing is sent by asking. */
export const ProbeOfferSchema = Type.Object({
  /** The finding's place in the report's list; null where no finding has suspects that a probe could part. */
  finding: Nullable(Type.Integer({ minimum: 0 })),
  title: Type.String(),
  suspects: Type.Array(Type.String()),
  /** What to start; null where there is nothing to gain by it. */
  request: Nullable(RunRequestSchema),
  /** Why there is nothing to start; null where there is. */
  refusal: Nullable(Type.String()),
  /** Suspects that are left on average, and at most, each being as likely as the next. */
  expectedSuspects: Nullable(Type.Number()),
  mostSuspects: Nullable(Type.Integer()),
  /** Node beside which one more agent would part them better; null: none would. */
  wantedAgentAt: Nullable(Type.String()),
  /** What is sent from where to whom, at what rate, and how long, a sentence each. */
  sends: Type.Array(Type.String()),
  /** What it can tell. */
  tells: Type.Array(Type.String()),
});
export type ProbeOffer = DeepReadonly<Static<typeof ProbeOfferSchema>>;
