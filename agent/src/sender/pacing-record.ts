import type { Pacing } from "@dyetrace/wire";

/** Buckets per doubling: a percentile is right to 1/32, about 3 %. */
const STEPS_BITS = 5;
const STEPS = 1 << STEPS_BITS;
const BUCKETS = (32 - STEPS_BITS + 1) * STEPS;
const MOST_NS = 2 ** 32 - 1;

/**
 * How late packets left, as a histogram whose buckets grow with the value: exact to 31 ns, then 32 buckets to each
 * doubling, up to 4.3 s. The maximum is kept exactly.
 */
export class PacingRecord {
  readonly #counts = new Uint32Array(BUCKETS);
  #samples = 0;
  #maxNs = 0;

  /** Hot path. @param lateNs how long after its due time a packet left; early counts as on time */
  record(lateNs: number): void {
    const value = lateNs < 0 ? 0 : lateNs > MOST_NS ? MOST_NS : Math.floor(lateNs);
    const bucket = bucketOf(value);
    this.#counts[bucket] = (this.#counts[bucket] as number) + 1;
    this.#samples++;
    if (lateNs > this.#maxNs) this.#maxNs = lateNs;
  }

  /** Takes in what the other has recorded. */
  add(other: PacingRecord): void {
    for (let i = 0; i < BUCKETS; i++) this.#counts[i] = (this.#counts[i] as number) + (other.#counts[i] as number);
    this.#samples += other.#samples;
    this.#maxNs = Math.max(this.#maxNs, other.#maxNs);
  }

  /** @returns null without a sample */
  report(): Pacing | null {
    if (this.#samples === 0) return null;
    return {
      p50Ns: this.#percentile(0.5),
      p99Ns: this.#percentile(0.99),
      p999Ns: this.#percentile(0.999),
      maxNs: this.#maxNs,
    };
  }

  clear(): void {
    this.#counts.fill(0);
    this.#samples = 0;
    this.#maxNs = 0;
  }

  /** @returns the highest value that the bucket of the wanted rank can hold (nearest rank) */
  #percentile(share: number): number {
    let left = Math.ceil(share * this.#samples);
    for (let bucket = 0; bucket < BUCKETS; bucket++) {
      left -= this.#counts[bucket] as number;
      if (left <= 0) return Math.min(highestOf(bucket), this.#maxNs);
    }
    return this.#maxNs;
  }
}

function bucketOf(value: number): number {
  if (value < STEPS) return value;
  const shift = 31 - Math.clz32(value) - STEPS_BITS;
  return (shift + 1) * STEPS + ((value >>> shift) - STEPS);
}

function highestOf(bucket: number): number {
  if (bucket < STEPS) return bucket;
  const shift = Math.floor(bucket / STEPS) - 1;
  return ((bucket % STEPS) + STEPS + 1) * 2 ** shift - 1;
}
