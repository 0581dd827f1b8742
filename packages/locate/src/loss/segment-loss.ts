import type { LossInterval } from "./loss-interval.ts";
import { lossInterval, T_95_OF_20_BLOCKS, Z_95 } from "./loss-interval.ts";
import type { ChainLoss } from "./stream-loss.ts";

/** Loss of one chain of segments, as all streams over exactly this chain show it together. */
export interface MeasuredChain {
  /** Segment numbers from the source downwards. One: the segment has a rate of its own. */
  readonly segments: readonly number[];
  /** One for every stream over this chain. */
  readonly parts: readonly ChainLoss[];
  readonly interval: LossInterval;
  /** True when the chain ends at a listener. */
  readonly isLast: boolean;
}

/** Puts together what several streams say of the same chain. Chains without a segment are left out. */
export function measuredChains(parts: readonly ChainLoss[]): MeasuredChain[] {
  const byChain = new Map<string, ChainLoss[]>();
  for (const part of parts) {
    if (part.segments.length === 0) continue;
    const key = `${part.segments.join(" ")} ${part.receipt === null ? "" : "end"}`;
    const same = byChain.get(key);
    if (same === undefined) byChain.set(key, [part]);
    else same.push(part);
  }
  return [...byChain.values()].map((same) => ({
    segments: same[0]?.segments ?? [],
    parts: same,
    interval: intervalOf(same),
    isLast: same[0]?.receipt != null,
  }));
}

/** Below this the spread over the blocks is what independent losses give by chance. Our choice, no source. */
const BURSTY = 1.3;

/** 95 % interval; wider by Student's t where the blocks showed bursts. */
export function intervalOf(parts: readonly ChainLoss[]): LossInterval {
  const links = parts.map((part) => part.link);
  return lossInterval(links, links.some((link) => link.burstFactor > BURSTY) ? T_95_OF_20_BLOCKS : Z_95);
}
