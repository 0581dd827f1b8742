import type { Observations } from "@dyetrace/site";
import type { FaultCode, RunReport, RunRequest, UserFile } from "@dyetrace/wire";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import type { DrawnPlan } from "@dyetrace/wire/console/plan-draw";
import type { EditAnswer, PlanToEdit } from "@dyetrace/wire/console/plan-edit";
import type { ProbeOffer } from "@dyetrace/wire/console/probe-offer";
import type { RunAnswer } from "@dyetrace/wire/console/run-forecast";
import type { ProbeAgent } from "../probe/probe-agents.ts";

/** What whoever may look may ask about a plan that he wrote, and about the suspects of a run. */
export type PlanJob =
  | { readonly kind: "plan"; readonly text: UserFile }
  | { readonly kind: "edit"; readonly toEdit: PlanToEdit }
  /** Draws a site by what was seen of it, or proposes changes to the plan `updates`. */
  | {
      readonly kind: "draw";
      readonly observations: Observations;
      readonly site: string;
      readonly updates: UserFile | null;
    }
  | {
      readonly kind: "run";
      readonly request: RunRequest;
      readonly connected: readonly string[];
      readonly isLive: boolean;
    }
  | {
      readonly kind: "probe";
      readonly report: RunReport;
      readonly request: RunRequest;
      readonly agents: readonly ProbeAgent[];
      /** As `offerProbe` takes it. */
      readonly finding: number | null;
    };

/** To and from the thread that works it out. */
export interface PlanQuestion {
  readonly id: number;
  readonly job: PlanJob;
}
export type PlanReply =
  | { readonly id: number; readonly answer: PlanAnswer | RunAnswer | ProbeOffer | EditAnswer | DrawnPlan }
  | {
      readonly id: number;
      readonly fault: { readonly code: FaultCode; readonly message: string; readonly hint: string };
    }
  | { readonly id: number; readonly failure: string };
