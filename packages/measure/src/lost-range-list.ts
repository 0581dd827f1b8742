import { COARSE_RANGES, type CoarseLostRange, INTERVAL_RANGES, type LostRange, type Span } from "./stream-receipt.ts";

const WIDTH = 6; // firstSeq, count, startNs, durationNs, hostLost, lost
const FIRST_ROWS = 64;

/**
 * The lost ranges of one interval, without an object for each. `INTERVAL_RANGES` are kept as they are; of those beyond,
 * `COARSE_RANGES` coarse ones, the two closest of which are made one whenever another comes.
 */
export class LostRangeList {
  #exact = new Float64Array(FIRST_ROWS * WIDTH);
  #exactRows = 0;
  #exactTaken = 0;
  #coarse: Float64Array | null = null; // few receptions are so bad
  #coarseRows = 0;

  /** Ranges come in ascending order. */
  push(firstSeq: number, count: number, startNs: number, durationNs: number, hostLost: number): void {
    if (this.#exactTaken + this.#exactRows < INTERVAL_RANGES) {
      if (this.#exactRows * WIDTH === this.#exact.length) this.#grow();
      write(this.#exact, this.#exactRows, firstSeq, count, startNs, durationNs, hostLost);
      this.#exactRows += 1;
      return;
    }
    this.#coarse ??= new Float64Array(COARSE_RANGES * WIDTH);
    if (this.#coarseRows === COARSE_RANGES) this.#mergeClosest(this.#coarse);
    write(this.#coarse, this.#coarseRows, firstSeq, count, startNs, durationNs, hostLost);
    this.#coarseRows += 1;
  }

  /** @returns the ranges since the last `take`: those of one span */
  take(): {
    readonly lost: readonly LostRange[];
    readonly coarse: readonly CoarseLostRange[];
  } {
    const lost: LostRange[] = [];
    for (let row = 0; row < this.#exactRows; row++) lost.push(readExact(this.#exact, row));
    const coarse: CoarseLostRange[] = [];
    if (this.#coarse !== null) {
      for (let row = 0; row < this.#coarseRows; row++) {
        coarse.push([...readExact(this.#coarse, row), this.#coarse[row * WIDTH + 5] as number]);
      }
    }
    this.#exactTaken += this.#exactRows;
    this.#exactRows = 0;
    this.#coarseRows = 0;
    return { lost, coarse };
  }

  /** A new interval: there is room again. */
  startInterval(): void {
    this.#exactTaken = 0;
  }

  #mergeClosest(rows: Float64Array): void {
    let closest = 1;
    let distance = Number.POSITIVE_INFINITY;
    let previousEnd = (rows[0] as number) + (rows[1] as number);
    for (let row = 1; row < COARSE_RANGES; row++) {
      const firstSeq = rows[row * WIDTH] as number;
      if (firstSeq - previousEnd < distance) {
        distance = firstSeq - previousEnd;
        closest = row;
      }
      previousEnd = firstSeq + (rows[row * WIDTH + 1] as number);
    }
    const at = (closest - 1) * WIDTH;
    const next = closest * WIDTH;
    rows[at + 1] = (rows[next] as number) + (rows[next + 1] as number) - (rows[at] as number);
    const endNs = Math.max(
      (rows[at + 2] as number) + (rows[at + 3] as number),
      (rows[next + 2] as number) + (rows[next + 3] as number),
    );
    rows[at + 3] = endNs - (rows[at + 2] as number);
    rows[at + 4] = (rows[at + 4] as number) + (rows[next + 4] as number);
    rows[at + 5] = (rows[at + 5] as number) + (rows[next + 5] as number);
    rows.copyWithin(next, next + WIDTH);
    this.#coarseRows -= 1;
  }

  #grow(): void {
    const rows = new Float64Array(this.#exact.length * 2);
    rows.set(this.#exact);
    this.#exact = rows;
  }
}

function write(
  rows: Float64Array,
  row: number,
  firstSeq: number,
  count: number,
  startNs: number,
  durationNs: number,
  hostLost: number,
): void {
  const at = row * WIDTH;
  rows[at] = firstSeq;
  rows[at + 1] = count;
  rows[at + 2] = startNs;
  rows[at + 3] = durationNs;
  rows[at + 4] = hostLost;
  rows[at + 5] = count;
}

const readExact = (rows: Float64Array, row: number): LostRange => [
  rows[row * WIDTH] as number,
  rows[row * WIDTH + 1] as number,
  rows[row * WIDTH + 2] as number,
  rows[row * WIDTH + 3] as number,
  rows[row * WIDTH + 4] as number,
];

/** The same rule for a span that a merge has no room for: its ranges beyond `room` become coarse. Pure. */
export function boundRanges(span: Span, room: number): Span {
  if (span.lost.length <= room) return span;
  const beyond = span.lost.slice(room).map((range): CoarseLostRange => [...range, range[1]]);
  const coarse = [...span.coarse, ...beyond].sort((a, b) => a[0] - b[0]);
  return { ...span, lost: span.lost.slice(0, room), coarse: boundCoarse(coarse) };
}

/** Makes the closest ranges one, until there are `COARSE_RANGES`. */
export function boundCoarse(ranges: readonly CoarseLostRange[]): readonly CoarseLostRange[] {
  const excess = ranges.length - COARSE_RANGES;
  if (excess <= 0) return ranges;
  const distances = ranges.map((range, i) =>
    i === 0 ? Number.POSITIVE_INFINITY : range[0] - endOf(ranges[i - 1] ?? range),
  );
  // Ties go in order, so that the outcome depends on the ranges alone.
  const order = [...distances.keys()].sort((a, b) => (distances[a] ?? 0) - (distances[b] ?? 0) || a - b);
  const joined = new Set(order.slice(0, excess));
  const bounded: CoarseLostRange[] = [];
  for (const [i, range] of ranges.entries()) {
    const last = bounded.at(-1);
    if (last !== undefined && joined.has(i)) bounded[bounded.length - 1] = joinCoarse(last, range);
    else bounded.push(range);
  }
  return bounded;
}

const endOf = (range: CoarseLostRange): number => range[0] + range[1];

function joinCoarse(a: CoarseLostRange, b: CoarseLostRange): CoarseLostRange {
  const [startNs, durationNs] = joinTimes(a, b);
  return [a[0], Math.max(endOf(a), endOf(b)) - a[0], startNs, durationNs, a[4] + b[4], a[5] + b[5]];
}

function joinTimes(a: CoarseLostRange, b: CoarseLostRange): readonly [number | null, number | null] {
  if (a[2] === null || a[3] === null || b[2] === null || b[3] === null) return [null, null];
  const startNs = Math.min(a[2], b[2]);
  return [startNs, Math.max(a[2] + a[3], b[2] + b[3]) - startNs];
}
