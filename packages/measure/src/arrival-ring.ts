/**
 * How many numbers below the highest one a packet can still be judged: a power of two, so `seq % WINDOW_PACKETS` is a
 * mask. At 10,000 packets/s it is 0.41 s.
 */
export const WINDOW_PACKETS = 4096;
const MASK = WINDOW_PACKETS - 1;

/** The latest arrivals by sequence number: which were received, which had a copy. */
export class ArrivalRing {
  readonly #seq = new Float64Array(WINDOW_PACKETS).fill(Number.NaN); // whose slot it is: tells this lap from the last
  readonly #hasCopy = new Uint8Array(WINDOW_PACKETS);

  /** Hot path. */
  has(seq: number): boolean {
    return this.#seq[slotOf(seq)] === seq;
  }

  /** Hot path. */
  put(seq: number): void {
    const slot = slotOf(seq);
    this.#seq[slot] = seq;
    this.#hasCopy[slot] = 0;
  }

  /** Only for a number that the ring has. @returns whether this is its first copy */
  noteCopy(seq: number): boolean {
    const slot = slotOf(seq);
    if (this.#hasCopy[slot] === 1) return false;
    this.#hasCopy[slot] = 1;
    return true;
  }

  clear(): void {
    this.#seq.fill(Number.NaN);
  }
}

/** `& MASK` keeps the low 32 bits only, which hold the low 12 of any number below 2^53. */
const slotOf = (seq: number): number => seq & MASK;
