import type { SiteGraph } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import type { RunObservations } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** What is found, of all that rests on where hosts sit and on what they say. */
export interface Accused {
  /** On the ways on which it is found. */
  readonly streams: readonly StreamFacts[];
  /** All but losses: what takes faults to be true (see `faultsNeeded`). */
  readonly faults: readonly Finding[];
  /** With losses, which are worked out when they are asked for first. */
  readonly findings: readonly Finding[];
}

/** What is supposed true: the plan, or one that differs in a host's place; all reports, or all but one host's. */
export interface Supposition {
  readonly graph: SiteGraph;
  readonly run: RunObservations;
  /** What is found then. */
  readonly found: Accused;
}

/** That one host is not where the plan has it, or that its report is not true. */
export interface HostSupposition extends Supposition {
  readonly host: string;
  /** The node that it hangs on instead; null where its word is left out, which fits any place. */
  readonly at: string | null;
  /** True where the host alone shows that some way is good. */
  readonly isSoleWitness: boolean;
}

export type Accuse = (graph: SiteGraph, run: RunObservations) => Accused;
