import type { RunRequest, UserFile } from "@dyetrace/wire";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import type { RunAnswer } from "@dyetrace/wire/console/run-forecast";

/** What whoever may look may ask about a plan that he wrote. */
export type PlanJob =
  | { readonly kind: "plan"; readonly text: UserFile }
  | {
      readonly kind: "run";
      readonly request: RunRequest;
      readonly connected: readonly string[];
      readonly isLive: boolean;
    };

/** To and from the thread that works it out. */
export interface PlanQuestion {
  readonly id: number;
  readonly job: PlanJob;
}
export type PlanReply =
  | { readonly id: number; readonly answer: PlanAnswer | RunAnswer }
  | { readonly id: number; readonly failure: string };
