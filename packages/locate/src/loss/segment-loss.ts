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
  const byChain = new Map<string | number, Chain>();
  for (const part of parts) {
    const { segments } = part;
    const [first] = segments;
    if (first === undefined) continue;
    const isLast = part.receipt !== null;
    // Most are one segment long, and numbers are found sooner than strings.
    const key = segments.length === 1 ? 2 * first + (isLast ? 1 : 0) : `${segments.join(" ")} ${isLast ? "end" : ""}`;
    const same = byChain.get(key);
    if (same === undefined) byChain.set(key, { segments, isLast, parts: [part] });
    else same.parts.push(part);
  }
  return [...byChain.values()].map((chain) => ({ ...chain, interval: intervalOf(chain.parts) }));
}

interface Chain {
  readonly segments: readonly number[];
  readonly isLast: boolean;
  readonly parts: ChainLoss[];
}

/** Below this the spread over the blocks is what independent losses give by chance. Our choice, no source. */
const BURSTY = 1.3;

/** 95 % interval; wider by Student's t where the blocks showed bursts. */
export function intervalOf(parts: readonly ChainLoss[]): LossInterval {
  const links = parts.map((part) => part.link);
  return lossInterval(links, links.some((link) => link.burstFactor > BURSTY) ? T_95_OF_20_BLOCKS : Z_95);
}
