import type { Finding } from "./finding/finding.ts";
import type { QuerierAudit } from "./membership/querier-audit.ts";
import type { Coverage } from "./tell-apart/coverage.ts";

/** What `locate` says about a run. */
export interface Conclusion {
  readonly findings: readonly Finding[];
  readonly segments: readonly SegmentState[];
  readonly coverage: Coverage;
  /** What is worth telling, accuses nobody and decides nothing: sentences. */
  readonly remarks: readonly string[];
  /** Who asks for memberships, VLAN by VLAN. */
  readonly queriers: readonly QuerierAudit[];
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
