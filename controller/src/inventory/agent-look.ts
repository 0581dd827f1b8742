import type { AgentSight, SightFlow } from "@dyetrace/wire/inventory/sight-schema";

/** What one agent answered to a look. */
export interface AgentLook {
  readonly agent: string;
  /** Null: it saw nothing, and `why` says why. */
  readonly sight: AgentSight | null;
  readonly why: string;
}

/** One sender as one agent saw it. */
export interface SeenFlow {
  readonly agent: string;
  readonly flow: SightFlow;
  /** How long that agent looked, ns. */
  readonly lookedNs: number;
}
