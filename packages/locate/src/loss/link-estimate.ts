import type { BranchSums } from "./branch-sums.ts";
import { BLOCKS } from "./loss-tree.ts";

/**
 * One logical link's loss, with everything that its variance depends on: the link itself, the branches below its lower
 * end and the branches beside it. All shares are conditional, so that the variance can be asked at any loss.
 */
export interface LinkEstimate {
  /** 1 - A_k / A_parent as it comes out; below 0 where chance made it so. */
  readonly rawLossRatio: number;
  readonly packets: number;
  /** Share of packets that reach the link's upper end. */
  readonly passAbove: number;
  /** Branches at the lower end; null for a listener. */
  readonly below: BranchSums | null;
  /** The other branches at the upper end; null where the link starts at the source, whose pass rate needs no estimate. */
  readonly beside: BranchSums | null;
  /** Variance inflation because losses come in bursts, from 1. */
  readonly burstFactor: number;
}

/**
 * Variance of the loss ratio if the link's true loss were `lossRatio`, times the burst factor: the delta method on
 * ln alpha = ln A_k - ln A_parent (Caceres et al. 1999).
 */
export function lossVariance(link: LinkEstimate, lossRatio: number): number {
  const pass = 1 - lossRatio;
  if (pass <= 0) return 0;
  return (pass * pass * variancePerPacket(link, pass) * link.burstFactor) / link.packets;
}

/**
 * n Var(ln alpha) for independent losses at this pass rate, in constant time. From the gradient of ln A,
 * 1/D for the node itself and -o_j/D for its branches with D = gamma - SUM gamma_j o_j, and
 * n Cov(gamma_i, gamma_j) = gamma_low (1 - gamma_high) one above the other, gamma_i gamma_j (1/A_a - 1) where they meet
 * at a. Hot path.
 */
export function variancePerPacket(link: LinkEstimate, pass: number): number {
  const { passAbove, below, beside } = link;
  const passOwn = passAbove * pass;
  const seen = below === null ? 1 : 1 - below.allMiss;
  const gammaOwn = passOwn * seen;
  const slopeOwn = below === null ? passOwn : passOwn * (seen - below.onlyOne);

  // The branches below, by their part of the gradient: SUM g gamma, and its variance.
  const totalBelow = below === null ? 0 : (-passOwn * below.onlyOne) / slopeOwn;
  const varianceBelow =
    below === null
      ? 0
      : (passOwn * (below.squared - below.squaredBoth)) / (slopeOwn * slopeOwn) +
        totalBelow * totalBelow * (1 / passOwn - 1);

  if (beside === null) {
    const g = 1 / slopeOwn;
    return varianceBelow + g * g * gammaOwn * (1 - gammaOwn) + 2 * totalBelow * g * (1 - gammaOwn);
  }

  const ownShare = pass * seen;
  const ownMiss = 1 - ownShare;
  const gammaAbove = passAbove * (1 - ownMiss * beside.allMiss);
  const slopeAbove = passAbove * (1 - ownMiss * beside.allMiss - ownShare * beside.allMiss - ownMiss * beside.onlyOne);
  const gOwn = 1 / slopeOwn + beside.allMiss / slopeAbove;
  const gAbove = -1 / slopeAbove;
  const meetAbove = 1 / passAbove - 1;
  const scale = ownMiss / slopeAbove;
  const totalBeside = scale * passAbove * beside.onlyOne;
  const varianceBeside =
    scale * scale * passAbove * (beside.squared - beside.squaredBoth) + totalBeside * totalBeside * meetAbove;

  return (
    varianceBelow +
    varianceBeside +
    gOwn * gOwn * gammaOwn * (1 - gammaOwn) +
    gAbove * gAbove * gammaAbove * (1 - gammaAbove) +
    2 * totalBelow * gOwn * (1 - gammaOwn) +
    2 * totalBelow * gAbove * (1 - gammaAbove) +
    2 * gOwn * gAbove * gammaOwn * (1 - gammaAbove) +
    2 * totalBeside * gAbove * (1 - gammaAbove) +
    2 * totalBeside * (gOwn * gammaOwn + totalBelow) * meetAbove
  );
}

/**
 * How much the spread over the blocks exceeds what independent losses would give. Under bursts the estimate stays
 * consistent while the plain interval is far too narrow. Hot path.
 * @param values the linearised estimate of ln alpha in every block
 * @param variance of ln alpha for independent losses
 */
export function burstFactorOf(values: Float64Array, variance: number): number {
  if (variance <= 0) return 1;
  let sum = 0;
  for (let i = 0; i < BLOCKS; i++) sum += values[i] as number;
  const mean = sum / BLOCKS;
  let spread = 0;
  for (let i = 0; i < BLOCKS; i++) spread += ((values[i] as number) - mean) ** 2;
  return Math.max(1, spread / (BLOCKS - 1) / BLOCKS / variance);
}
