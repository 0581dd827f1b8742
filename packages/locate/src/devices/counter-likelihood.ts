import type { PortCount } from "../run/device-observations.ts";
import type { OtherFrames } from "./expected-frames.ts";
import { noiseVariance } from "./noise.ts";

/** What a counter would show of the streams that a finding is about. */
export interface Foretold {
  readonly frames: number;
  /** Standard deviation of that, frames. */
  readonly sigma: number;
}

/** A counter is not what it seems: another port's, one that counts in other steps. Our estimate, no source. */
const STRANGE_CHANCE = 0.001;
/** A port's counter stands still although the device's others count. Our estimate, no source. */
const STUCK_CHANCE = 0.0002;
/** The same of a port that has counted since its device began: it would have stopped to. Our estimate, no source. */
const STOPPED_CHANCE = 0.00001;

/**
 * Likelihood of a count: of the streams, of other test streams, of the site's own traffic as it was before the run, and of what
 * passed between the two ends of a reading.
 */
export function countLikelihood(count: PortCount, foretold: Foretold, others: readonly OtherFrames[]): number {
  const spanS = Math.max(0, count.toMs - count.fromMs) / 1000;
  const site = (count.quietPerS ?? 0) * spanS;
  const variance = noiseVariance(count, spanS) + foretold.sigma ** 2;
  const sigma = Math.sqrt(variance);
  const normal = (mean: number): number =>
    Math.exp(-((count.frames - mean) ** 2) / (2 * variance)) / (sigma * Math.sqrt(2 * Math.PI));
  const seen = others.reduce((sum, { frames, chance }) => sum + chance * normal(foretold.frames + frames + site), 0);
  const standsStill = count.hasEverCounted === true ? STOPPED_CHANCE : STUCK_CHANCE;
  const stuck = count.frames === 0 ? standsStill : 0;
  return (1 - STRANGE_CHANCE - standsStill) * seen + strangeLikelihood(count, foretold, others, sigma) + stuck;
}

/** Anything at all is as likely as anything else, over a range that grows with what there is to count. */
function strangeLikelihood(
  { frames }: PortCount,
  foretold: Foretold,
  others: readonly OtherFrames[],
  sigma: number,
): number {
  const most = Math.max(frames, foretold.frames, ...others.map((one) => one.frames));
  return STRANGE_CHANCE / (most + 6 * sigma);
}

/** False where the site's own traffic is not known, or the port counted for another time than the streams were sent in. */
export function isUsable(count: PortCount, firstSentMs: number, lastSentMs: number): boolean {
  return count.quietPerS !== null && count.fromMs <= firstSentMs && count.toMs >= lastSentMs;
}
