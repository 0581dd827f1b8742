import type { FindingKind } from "@dyetrace/wire";

export interface Finding {
  readonly kind: FindingKind;
  readonly streams: readonly string[];
  /**
   * Segment ids (`a:port>b:port`) or node names, most likely first, no name twice. More than one: this run cannot tell
   * them apart, and the evidence says why. Empty where the finding accuses no place (a fact about the whole site).
   */
  readonly suspects: readonly string[];
  /** Probability that the true cause is among the suspects, 0 to 1. */
  readonly confidence: number;
  /** One sentence to walk to the rack with. */
  readonly title: string;
  readonly evidence: readonly string[];
  /** What to look at next. */
  readonly advice: string;
  /** The standard that says how it should be. */
  readonly reference: string;
}
