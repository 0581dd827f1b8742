/** What `locate` says about a run. */

export type FindingKind =
  | "stops"
  | "group-specific"
  | "source-specific"
  | "rendezvous-point"
  | "size-limited"
  | "ttl-too-small"
  | "ages-out"
  | "leave-cuts-neighbour"
  | "host-side-block"
  | "source-not-sending"
  | "source-stalled"
  | "loses"
  | "rate-limited"
  | "host-side-loss"
  | "leaks"
  | "slow-leave"
  | "no-querier"
  | "two-queriers"
  | "converted-to-unicast"
  | "dscp-rewritten"
  | "foreign-traffic"
  | "plan-mismatch"
  | "inconclusive";

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

export type SegmentStatus = "ok" | "stops" | "loses" | "leaks" | "unknown";

export interface SegmentState {
  /** Segment id or node name. */
  readonly id: string;
  /** Null when this run cannot tell this segment's loss from its neighbours'. */
  readonly lossRatio: number | null;
  /** 95 % interval. A segment without a rate of its own may still have an upper limit. */
  readonly low: number | null;
  readonly high: number | null;
  readonly status: SegmentStatus;
}

export interface Coverage {
  /** Sets of segments and nodes that one fault in any of them would make look the same, largest first. */
  readonly ambiguousSets: readonly (readonly string[])[];
  /** Segments and nodes that a single fault would be pinned to. */
  readonly pinned: readonly string[];
  /** Segments and nodes that no stream of this run can test. */
  readonly untested: readonly string[];
  /** Where one more listener would split the largest set best; null when none would. */
  readonly nextAgentAt: string | null;
  /** What it would tell, in bits (1 bit halves the suspects). */
  readonly nextAgentGainBits: number | null;
  /** Share of the pairs of single faults, and of pairs of faults, that look different (0 to 1); null with no pair. */
  readonly separableRatio: number | null;
  readonly separablePairsRatio: number | null;
}

export interface Conclusion {
  readonly findings: readonly Finding[];
  readonly segments: readonly SegmentState[];
  readonly coverage: Coverage;
}
