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
  /** Good: at least one packet came. Bad: not one. Whoever did not report has no outcome. */
  readonly isGood: boolean;
  /** Good: when the last packet that came was sent. Bad: since when nothing that was sent has come. */
  readonly atMs: number;
  /** How much later than `atMs` of a bad path a good one must still work to clear it (0 when good). */
  readonly marginMs: number;
}
