/**
 * One logical link's loss, with everything that its variance depends on: the link itself, the branches below its lower
 * end and the branches beside it. All shares are conditional, so that the variance can be asked at any loss. It stands in a
 * row of numbers, without an object for each: a large run has more than 100,000 links.
 */
export class LinkEstimate {
  readonly rows: Float64Array;
  /** Where its row begins. */
  readonly at: number;

  constructor(rows: Float64Array, at: number) {
    this.rows = rows;
    this.at = at;
  }

  /** 1 - A_k / A_parent as it comes out; below 0 where chance made it so. */
  get rawLossRatio(): number {
    return this.rows[this.at + RAW_LOSS_RATIO] as number;
  }

  get packets(): number {
    return this.rows[this.at + PACKETS] as number;
  }

  /** Share of packets that reach the link's upper end. */
  get passAbove(): number {
    return this.rows[this.at + PASS_ABOVE] as number;
  }

  /** Variance inflation because losses come in bursts, from 1. */
  get burstFactor(): number {
    return this.rows[this.at + BURST_FACTOR] as number;
  }
}

/** Columns of a row. Of the branches' sums see `branch-sums.ts`; those of no branches are NaN. */
export const COLUMNS = 11;
export const RAW_LOSS_RATIO = 0;
export const PACKETS = 1;
export const PASS_ABOVE = 2;
export const BURST_FACTOR = 3;
/** The branches at the lower end; none for a listener. */
export const BELOW = 4;
/** The other branches at the upper end; none where the link starts at the source, whose pass rate needs no estimate. */
export const BESIDE = 7;
/** 1/A - 1 at the upper end. */
export const MEET_ABOVE = 10;

/**
 * n Var(ln alpha) of every row, if the link's true pass rate were `pass` and losses independent: the delta method on
 * ln alpha = ln A_k - ln A_parent (Caceres et al. 1999), in constant time for each. From the gradient of ln A,
 * 1/D for the node itself and -o_j/D for its branches with D = gamma - SUM gamma_j o_j, and
 * n Cov(gamma_i, gamma_j) = gamma_low (1 - gamma_high) one above the other, gamma_i gamma_j (1/A_a - 1) where they meet
 * at a. Hot path.
 * @param from where the first row begins
 * @param variances they go in here, from the beginning on, as many as it has places
 */
export function writeVariances(rows: Float64Array, from: number, pass: number, variances: Float64Array): void {
  for (let i = 0; i < variances.length; i++) {
    const at = from + i * COLUMNS;
    const passAbove = rows[at + PASS_ABOVE] as number;
    const passOwn = passAbove * pass;

    // The branches below, by their part of the gradient: SUM g gamma, and its variance.
    const allMissBelow = rows[at + BELOW] as number;
    let seen = 1;
    let slopeOwn = passOwn;
    let totalBelow = 0;
    let varianceBelow = 0;
    if (!Number.isNaN(allMissBelow)) {
      const onlyOne = rows[at + BELOW + 1] as number;
      seen = 1 - allMissBelow;
      slopeOwn = passOwn * (seen - onlyOne);
      totalBelow = (-passOwn * onlyOne) / slopeOwn;
      varianceBelow =
        (passOwn * (rows[at + BELOW + 2] as number)) / (slopeOwn * slopeOwn) +
        totalBelow * totalBelow * (1 / passOwn - 1);
    }
    const gammaOwn = passOwn * seen;

    const allMiss = rows[at + BESIDE] as number;
    if (Number.isNaN(allMiss)) {
      const g = 1 / slopeOwn;
      variances[i] = varianceBelow + g * g * gammaOwn * (1 - gammaOwn) + 2 * totalBelow * g * (1 - gammaOwn);
      continue;
    }
    const onlyOne = rows[at + BESIDE + 1] as number;
    const ownShare = pass * seen;
    const ownMiss = 1 - ownShare;
    const gammaAbove = passAbove * (1 - ownMiss * allMiss);
    const slopeAbove = passAbove * (1 - ownMiss * allMiss - ownShare * allMiss - ownMiss * onlyOne);
    const gOwn = 1 / slopeOwn + allMiss / slopeAbove;
    const gAbove = -1 / slopeAbove;
    const meetAbove = rows[at + MEET_ABOVE] as number;
    const scale = ownMiss / slopeAbove;
    const totalBeside = scale * passAbove * onlyOne;
    const varianceBeside =
      scale * scale * passAbove * (rows[at + BESIDE + 2] as number) + totalBeside * totalBeside * meetAbove;
    variances[i] =
      varianceBelow +
      varianceBeside +
      gOwn * gOwn * gammaOwn * (1 - gammaOwn) +
      gAbove * gAbove * gammaAbove * (1 - gammaAbove) +
      2 * totalBelow * gOwn * (1 - gammaOwn) +
      2 * totalBelow * gAbove * (1 - gammaAbove) +
      2 * gOwn * gAbove * gammaOwn * (1 - gammaAbove) +
      2 * totalBeside * gAbove * (1 - gammaAbove) +
      2 * totalBeside * (gOwn * gammaOwn + totalBelow) * meetAbove;
  }
}
