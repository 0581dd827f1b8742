import type { TimeSpan } from "./run-observations.ts";
import type { SourceTree } from "./source-tree.ts";

/** One try of getting packets of one group and size from one source to several hosts, and how it went at each. */
export interface PathTrial {
  readonly tree: SourceTree;
  /** What a group-specific fault would be specific to: the group, with the source where joins are source-specific. */
  readonly groupKey: string;
  readonly payloadBytes: number;
  readonly outcomes: readonly PathOutcome[];
}

export interface PathOutcome {
  /** Node number of the host. */
  readonly leaf: number;
  /** When the first and the last packet that came were sent; null when none came. Proves the path for that time. */
  readonly good: TimeSpan | null;
  /** Set when the trial ended in silence: the time in which nothing that was sent came. */
  readonly bad: TimeSpan | null;
  /** A path proves nothing about a silence by what came this shortly after its beginning. */
  readonly marginMs: number;
}
