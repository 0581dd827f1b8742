/**
 * Distribution of whole numbers (nanoseconds, mostly) in buckets whose width grows with the value: exact below 128, then
 * 64 buckets for each doubling. A percentile is the middle of its bucket, so at most 1/128 (0.8 %) off. Values from 2^44
 * (4.9 h in ns) on share the last bucket. Merging is adding counts, so it is exact. (hdr-histogram-js has the same
 * precision, but holds no negative values and allocates when it is encoded; the tests hold this class to it.)
 */
const SUB_BITS = 6;
const SUB_BUCKETS = 64;
const TOP_VALUE = 2 ** 44 - 1;
const BUCKETS = 39 * SUB_BUCKETS;
const TWO_25 = 2 ** 25;

/** Plain form: survives JSON, merges exactly. A negative value's bucket is the negated bucket of its size. */
export interface HistogramData {
  readonly count: number;
  readonly sum: number;
  readonly min: number | null;
  readonly max: number | null;
  /** Ascending by bucket; no count is 0. */
  readonly bins: readonly (readonly [bucket: number, count: number])[];
}

export const EMPTY_HISTOGRAM: HistogramData = {
  count: 0,
  sum: 0,
  min: null,
  max: null,
  bins: [],
};

export class LogHistogram {
  readonly #above = new Float64Array(BUCKETS); // 0 and more
  #below: Float64Array | null = null; // negative values, by size; most users have none
  #count = 0;
  #sum = 0;
  #min = Number.POSITIVE_INFINITY;
  #max = Number.NEGATIVE_INFINITY;

  get count(): number {
    return this.#count;
  }
  /** @returns +Infinity while empty */
  get min(): number {
    return this.#min;
  }

  /** Hot path. @param value a whole number */
  record(value: number): void {
    this.#add(value, 1);
    this.#sum += value;
    if (value < this.#min) this.#min = value;
    if (value > this.#max) this.#max = value;
  }

  /** Adds all of `from`, each value less `shift`. Sum and extremes stay exact, the rest moves by bucket. */
  addShifted(from: LogHistogram, shift: number): void {
    if (from.#count === 0) return;
    const min = from.#min - shift;
    const max = from.#max - shift;
    const within = (value: number): number => Math.min(Math.max(Math.round(value), min), max);
    for (let bucket = 0; bucket < BUCKETS; bucket++) {
      const above = from.#above[bucket] as number;
      if (above > 0) this.#add(within(middleOf(bucket) - shift), above);
      const below = from.#below === null ? 0 : (from.#below[bucket] as number);
      if (below > 0) this.#add(within(-middleOf(bucket) - shift), below);
    }
    this.#sum += from.#sum - shift * from.#count;
    this.#min = Math.min(this.#min, min);
    this.#max = Math.max(this.#max, max);
  }

  /** @returns everything recorded since the last `take`, which is forgotten here */
  take(): HistogramData {
    if (this.#count === 0) return EMPTY_HISTOGRAM;
    const bins: [number, number][] = [];
    if (this.#below !== null) {
      for (let bucket = BUCKETS - 1; bucket > 0; bucket--) {
        const count = this.#below[bucket] as number;
        if (count > 0) bins.push([-bucket, count]);
      }
    }
    for (let bucket = 0; bucket < BUCKETS; bucket++) {
      const count = this.#above[bucket] as number;
      if (count > 0) bins.push([bucket, count]);
    }
    const data: HistogramData = {
      count: this.#count,
      sum: this.#sum,
      min: this.#min,
      max: this.#max,
      bins,
    };
    this.clear();
    return data;
  }

  clear(): void {
    this.#above.fill(0);
    this.#below?.fill(0);
    this.#count = 0;
    this.#sum = 0;
    this.#min = Number.POSITIVE_INFINITY;
    this.#max = Number.NEGATIVE_INFINITY;
  }

  #add(value: number, count: number): void {
    this.#count += count;
    const bucket = bucketOf(value < 0 ? -value : value);
    if (value >= 0) {
      this.#above[bucket] = (this.#above[bucket] as number) + count;
      return;
    }
    this.#below ??= new Float64Array(BUCKETS);
    this.#below[bucket] = (this.#below[bucket] as number) + count;
  }
}

export function mergeHistograms(a: HistogramData, b: HistogramData): HistogramData {
  if (a.count === 0) return b;
  if (b.count === 0) return a;
  const counts = new Map(a.bins);
  for (const [bucket, count] of b.bins) counts.set(bucket, (counts.get(bucket) ?? 0) + count);
  return {
    count: a.count + b.count,
    sum: a.sum + b.sum,
    min: Math.min(a.min ?? Number.POSITIVE_INFINITY, b.min ?? Number.POSITIVE_INFINITY),
    max: Math.max(a.max ?? Number.NEGATIVE_INFINITY, b.max ?? Number.NEGATIVE_INFINITY),
    bins: [...counts].sort((left, right) => left[0] - right[0]),
  };
}

/**
 * @param ratio 0 to 1, as 0.999 for the 99.9th percentile
 * @returns the smallest value that at least this share of the values does not exceed (nearest rank), within 1/128; the
 * extremes are exact; null if the histogram is empty
 */
export function percentile(data: HistogramData, ratio: number): number | null {
  if (data.min === null || data.max === null) return null;
  const rank = Math.ceil(ratio * data.count);
  if (rank <= 1) return data.min;
  if (rank >= data.count) return data.max;
  let seen = 0;
  for (const [bucket, count] of data.bins) {
    seen += count;
    if (seen >= rank) {
      const middle = bucket < 0 ? -middleOf(-bucket) : middleOf(bucket);
      return Math.min(Math.max(middle, data.min), data.max);
    }
  }
  return data.max;
}

/** Bucket of a value of 0 or more: the value itself below 128, then its leading 7 bits and its magnitude. */
function bucketOf(value: number): number {
  if (value < SUB_BUCKETS) return value;
  if (value > TOP_VALUE) return BUCKETS - 1;
  // Shifts work on 32 bits: a greater value gives up its lowest 25 bits first, which its bucket does not depend on.
  const low = value < 0x80000000 ? 0 : 25;
  const bits = low === 0 ? value : Math.floor(value / TWO_25);
  const shift = 31 - SUB_BITS - Math.clz32(bits);
  return (shift + low) * SUB_BUCKETS + (bits >>> shift);
}

function middleOf(bucket: number): number {
  if (bucket < 2 * SUB_BUCKETS) return bucket;
  const width = 2 ** ((bucket >> SUB_BITS) - 1);
  return (SUB_BUCKETS + (bucket & (SUB_BUCKETS - 1))) * width + (width - 1) / 2;
}
