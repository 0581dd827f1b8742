import type { SendStep } from "../run/run-observations.ts";
import { sentRateBps } from "../run/step-rate.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { intervalOf } from "./segment-loss.ts";
import { type LossScope, streamLoss } from "./stream-loss.ts";

/** Where a stream with several rates begins to lose. */
export interface RateLimit {
  readonly stream: string;
  readonly highestCleanBps: number;
  readonly lowestLossyBps: number;
  /** What still comes through: rate times (1 - loss), the mean over the lossy steps. */
  readonly clipsAtBps: number;
  readonly steps: readonly { readonly rateBps: number; readonly lossRatio: number }[];
}

/**
 * A step counts as lossy when its lower limit exceeds this, as clean when its estimate does not; one that is neither says
 * nothing. Common practice, no source.
 */
const LOSS_FLOOR = 0.005;
/** How far what comes through may differ between the lossy steps: a policer lets through a constant rate. Common practice, no source. */
const CONSTANT_WITHIN = 0.2;

/**
 * Whether a stream that was sent at several rates is clean up to one of them and clipped to a constant rate above it,
 * on one chain of segments.
 */
export function rateLimitOn(facts: StreamFacts, segments: readonly number[], scope: LossScope): RateLimit | null {
  const steps = facts.stream.steps.flatMap((step) => {
    const loss = lossInStep(facts, segments, scope, step);
    const isDecided = loss !== null && (loss.low > LOSS_FLOOR || loss.lossRatio <= LOSS_FLOOR);
    return isDecided ? [{ rateBps: sentRateBps(step), ...loss }] : [];
  });
  steps.sort((a, b) => a.rateBps - b.rateBps);
  const firstLossy = steps.findIndex((step) => step.low > LOSS_FLOOR);
  const below = steps.slice(0, Math.max(0, firstLossy));
  const lossy = steps.slice(Math.max(0, firstLossy));
  const highestCleanBps = below.at(-1)?.rateBps;
  const lowestLossyBps = lossy[0]?.rateBps;
  if (highestCleanBps === undefined || lowestLossyBps === undefined || highestCleanBps >= lowestLossyBps) return null;
  if (below.some((step) => step.lossRatio > LOSS_FLOOR) || lossy.some((step) => step.low <= LOSS_FLOOR)) return null;
  const through = lossy.map((step) => step.rateBps * (1 - step.lossRatio));
  const clipsAtBps = through.reduce((sum, bps) => sum + bps, 0) / through.length;
  const isConstant = through.every((bps) => Math.abs(bps - clipsAtBps) <= CONSTANT_WITHIN * clipsAtBps);
  if (!isConstant || clipsAtBps < (1 - CONSTANT_WITHIN) * highestCleanBps) return null;
  return { stream: facts.stream.stream, highestCleanBps, lowestLossyBps, clipsAtBps, steps };
}

function lossInStep(
  facts: StreamFacts,
  segments: readonly number[],
  scope: LossScope,
  step: SendStep,
): { readonly lossRatio: number; readonly low: number } | null {
  const parts = streamLoss(facts, { ...scope, numbers: [step.firstSeq, step.lastSeq] });
  const same = parts.filter((part) => part.segments.join() === segments.join());
  return same.length === 0 ? null : intervalOf(same);
}
