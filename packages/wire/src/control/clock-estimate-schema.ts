import Type, { type Static } from "@dyetrace/schema";
import { DurationNs, Ns } from "../bounds.ts";

/** What the agent knows of the controller's clock, from the exchange with the least round-trip time. */
export const ClockEstimateSchema = Type.Object({
  /** Controller's monotonic clock less the agent's, ns. */
  offsetNs: Ns,
  /** Half the round-trip time of the best exchange: the offset is right within this. */
  uncertaintyNs: DurationNs,
});
export type ClockEstimate = Static<typeof ClockEstimateSchema>;
