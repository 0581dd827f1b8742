import type { SiteGraph } from "@dyetrace/site";
import type { Step } from "../host/step.ts";
import type { MulticastRouting } from "../layout/multicast-routing.ts";
import type { PracticeLayout } from "../layout/practice-layout.ts";
import type { PracticeTimers } from "../layout/practice-timers.ts";

/** What a fault does to the site, and what takes it out again: the site is then as it was built. */
export interface FaultPlan {
  /**
   * The settings that it changes, each in one word or two. Two standing faults never claim the same one: the one lifted
   * first would undo the other.
   */
  readonly claims: readonly string[];
  readonly apply: readonly Step[];
  /** Each step is tried even if one before it fails. */
  readonly undo: readonly Step[];
  readonly helper?: FaultHelper;
}

/** A program that runs inside a namespace from after `apply` until before `undo`, and says `ready` on a line. */
export interface FaultHelper {
  readonly namespace: string;
  readonly argv: readonly string[];
  /** Once it is ready: what hands frames to it. */
  readonly engage: readonly Step[];
  /** Before it is ended; each step is tried even if one before it fails. */
  readonly release: readonly Step[];
  /** From its release to its end: so long it may hold the last frame. */
  readonly holdsMs: number;
}

/** What a fault's plan is made from. */
export interface FaultGround {
  readonly graph: SiteGraph;
  readonly layout: PracticeLayout;
  readonly timers: PracticeTimers;
  readonly hasIpv6: boolean;
  /** Nodes of the unfolded site; null where they are not known yet. */
  readonly queriers: readonly string[] | null;
  /** How routers learn what to forward; null where it is not known yet. */
  readonly routing: MulticastRouting | null;
}
