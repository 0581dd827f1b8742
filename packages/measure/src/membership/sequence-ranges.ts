/** First and last sequence number, both included. */
export type SequenceRange = readonly [firstSeq: number, lastSeq: number];

/** A bounded set of sequence numbers, kept as ascending, disjoint runs that do not touch. */
export class SequenceRanges {
  readonly #first: Float64Array;
  readonly #last: Float64Array;
  #count = 0;

  constructor(maxRanges: number) {
    this.#first = new Float64Array(maxRanges);
    this.#last = new Float64Array(maxRanges);
  }

  /**
   * Hot path.
   * @returns false when the number would have needed a run of its own and none is left; the set is then unchanged
   */
  add(seq: number): boolean {
    const newest = this.#count - 1;
    if (newest >= 0 && seq === (this.#last[newest] as number) + 1) {
      this.#last[newest] = seq; // the ordinary case
      return true;
    }
    const at = this.#firstRunPast(seq); // runs before `at` begin at or before seq
    if (at > 0 && seq <= (this.#last[at - 1] as number)) return true;
    const touchesBefore = at > 0 && seq === (this.#last[at - 1] as number) + 1;
    const touchesAfter = at < this.#count && seq === (this.#first[at] as number) - 1;
    if (touchesBefore && touchesAfter) this.#join(at);
    else if (touchesBefore) this.#last[at - 1] = seq;
    else if (touchesAfter) this.#first[at] = seq;
    else return this.#insert(at, seq);
    return true;
  }

  get ranges(): SequenceRange[] {
    return Array.from({ length: this.#count }, (_, i): SequenceRange => [this.#first[i] ?? 0, this.#last[i] ?? 0]);
  }

  clear(): void {
    this.#count = 0;
  }

  /** Index of the first run that begins after `seq`; the number of runs if none does. */
  #firstRunPast(seq: number): number {
    let low = 0;
    let high = this.#count;
    while (low < high) {
      const middle = (low + high) >>> 1;
      if ((this.#first[middle] as number) <= seq) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  #insert(at: number, seq: number): boolean {
    if (this.#count === this.#first.length) return false;
    this.#first.copyWithin(at + 1, at, this.#count);
    this.#last.copyWithin(at + 1, at, this.#count);
    this.#first[at] = seq;
    this.#last[at] = seq;
    this.#count++;
    return true;
  }

  /** Run `at` joins the one before it. */
  #join(at: number): void {
    this.#last[at - 1] = this.#last[at] as number;
    this.#first.copyWithin(at, at + 1, this.#count);
    this.#last.copyWithin(at, at + 1, this.#count);
    this.#count--;
  }
}

/** The union of any runs: ascending, disjoint, touching ones made one. */
export function mergeSequenceRanges(ranges: readonly SequenceRange[]): SequenceRange[] {
  const merged: [number, number][] = [];
  for (const [first, last] of ranges.toSorted((a, b) => a[0] - b[0])) {
    const newest = merged.at(-1);
    if (newest !== undefined && first <= newest[1] + 1) newest[1] = Math.max(newest[1], last);
    else merged.push([first, last]);
  }
  return merged;
}
