import { BURST_FACTOR, COLUMNS, type LinkEstimate, PACKETS, RAW_LOSS_RATIO, writeVariances } from "./link-estimate.ts";

/** A loss ratio with its interval; `rawLossRatio` may be below 0 by chance, `lossRatio` is not. */
export interface LossInterval {
  readonly rawLossRatio: number;
  readonly lossRatio: number;
  readonly low: number;
  readonly high: number;
}

/** Two-sided 95 %: normal, and Student's t with 19 degrees of freedom where the spread was estimated from 20 blocks. From the distributions' tables. */
export const Z_95 = 1.96;
export const T_95_OF_20_BLOCKS = 2.093;

/**
 * Interval for a loss that one or several streams measured independently: all ratios l whose distance from the weighted
 * estimate is within `width` standard deviations computed at l itself. Unlike "estimate +- 1.96 SE" this holds near 0,
 * where most links live: with no loss at all the upper limit is width^2/n.
 * @param links the same segment in several streams, weighted by 1/variance (Bu et al. 2002); never pooled counts
 * @param width in standard deviations
 * @param bursts `not-counted`: as if losses were independent
 */
export function lossInterval(links: readonly LinkEstimate[], width: number, bursts: Bursts = "counted"): LossInterval {
  const search = new IntervalSearch(links, width, bursts);
  const { rawLossRatio, lossRatio } = search;
  return { rawLossRatio, lossRatio, low: search.low(), high: search.high() };
}

/** The same interval's lower limit alone, in half the time. */
export const lowestLoss = (links: readonly LinkEstimate[], width: number, bursts: Bursts): number =>
  new IntervalSearch(links, width, bursts).low();

type Bursts = "counted" | "not-counted";

class IntervalSearch {
  readonly rawLossRatio: number;
  readonly lossRatio: number;
  readonly #weighed: WeighedLinks;
  readonly #width: number;
  /** No limit lies further out than a few of the widest steps; doubling finds it from nearby. */
  readonly #step: number;

  constructor(links: readonly LinkEstimate[], width: number, bursts: Bursts) {
    this.#weighed = new WeighedLinks(links, bursts === "counted");
    this.#width = width;
    this.#step = (width * width) / links.reduce((sum, link) => sum + link.packets, 0);
    let combined = this.#weighed.at(LEAST_LOSS);
    let lossRatio = clamp(combined.mean);
    for (let round = 0; links.length > 1 && round < 20; round++) {
      combined = this.#weighed.at(lossRatio);
      const next = clamp(combined.mean);
      const isSettled = Math.abs(next - lossRatio) < 1e-12;
      lossRatio = next;
      if (isSettled) break;
    }
    this.rawLossRatio = combined.mean;
    this.lossRatio = lossRatio;
  }

  low(): number {
    return this.#isInside(0) ? 0 : this.#boundary(-this.#step);
  }

  high(): number {
    return this.#boundary(this.#step);
  }

  #isInside(ratio: number): boolean {
    const { mean, variance } = this.#weighed.at(ratio);
    return (mean - ratio) ** 2 <= this.#width * this.#width * variance;
  }

  /** The last ratio inside, in the direction of `step`: doubled until outside, then halved in between. */
  #boundary(step: number): number {
    const start = this.lossRatio;
    let near = start;
    let reach = step;
    let far = Math.min(1, Math.max(0, start + reach));
    while (far > 0 && far < 1 && this.#isInside(far)) {
      near = far;
      reach *= 2;
      far = Math.min(1, Math.max(0, start + reach));
    }
    for (let halvings = 0; halvings < 14; halvings++) {
      const middle = (near + far) / 2;
      if (this.#isInside(middle)) near = middle;
      else far = middle;
    }
    return near;
  }
}

/** Keeps variances above 0, so that weights stay finite. */
const LEAST_LOSS = 1e-9;

/** Into 0 to 1, rounding residue taken for the 0 that it is. */
const clamp = (ratio: number): number => (ratio < 1e-12 ? 0 : Math.min(1, ratio));

/** The links' rows one after the other, as they are gone through some fifty times. */
class WeighedLinks {
  readonly #rows: Float64Array;
  readonly #variances: Float64Array;

  constructor(links: readonly LinkEstimate[], areBurstsCounted: boolean) {
    this.#variances = new Float64Array(links.length);
    this.#rows = new Float64Array(links.length * COLUMNS);
    let to = 0;
    for (const { rows, at } of links) {
      for (let column = 0; column < COLUMNS; column++) this.#rows[to + column] = rows[at + column] as number;
      if (!areBurstsCounted) this.#rows[to + BURST_FACTOR] = 1;
      to += COLUMNS;
    }
  }

  /** Weighted estimate and its variance, burst factors included, if the true loss were `lossRatio`. Hot path. */
  at(lossRatio: number): { readonly mean: number; readonly variance: number } {
    const rows = this.#rows;
    const variances = this.#variances;
    const pass = 1 - Math.max(lossRatio, LEAST_LOSS);
    if (pass > 0) writeVariances(rows, 0, pass, variances);
    else variances.fill(0);
    let sum = 0;
    let weights = 0;
    for (let i = 0; i < variances.length; i++) {
      const at = i * COLUMNS;
      const perPacket = pass * pass * (variances[i] as number) * (rows[at + BURST_FACTOR] as number);
      const variance = perPacket / (rows[at + PACKETS] as number);
      const rawLossRatio = rows[at + RAW_LOSS_RATIO] as number;
      if (variances.length === 1) return { mean: rawLossRatio, variance };
      const weight = 1 / Math.max(variance, Number.MIN_VALUE);
      sum += weight * Math.max(-1, rawLossRatio);
      weights += weight;
    }
    return { mean: sum / weights, variance: 1 / weights };
  }
}

/** Standard normal quantile for a small upper tail (Abramowitz and Stegun 26.2.23, error below 4.5e-4). */
export function normalQuantileOfTail(tail: number): number {
  const t = Math.sqrt(-2 * Math.log(tail));
  return t - (2.515517 + 0.802853 * t + 0.010328 * t * t) / (1 + 1.432788 * t + 0.189269 * t * t + 0.001308 * t ** 3);
}

/** Student's t for the same tail, from the normal quantile (Abramowitz and Stegun 26.7.5, first three terms). */
export function studentQuantile(z: number, degrees: number): number {
  return (
    z +
    (z ** 3 + z) / (4 * degrees) +
    (5 * z ** 5 + 16 * z ** 3 + 3 * z) / (96 * degrees ** 2) +
    (3 * z ** 7 + 19 * z ** 5 + 17 * z ** 3 - 15 * z) / (384 * degrees ** 3)
  );
}
