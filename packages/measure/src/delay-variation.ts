import { type HistogramData, LogHistogram } from "./log-histogram.ts";

/**
 * Delay is compared with the least delay of the same 10 s of arrivals, not of the whole reception: two free clocks drift
 * apart by some 10 to 50 millionths, which over a night is seconds but over 10 s at most half a millisecond. RFC 5481
 * calls this the evaluation interval (ITU-T Y.1541 takes a minute; 10 s is our choice). The windows lie at whole
 * multiples of 10 s of the time base, so that no cutting of the reception moves them.
 */
export const PDV_WINDOW_NS = 10e9;

/** Packet delay variation (RFC 5481, section 4.2): delay less the least delay of its window. */
export class PacketDelayVariation {
  readonly #window = new LogHistogram(); // transit less #reference
  readonly #variation = new LogHistogram();
  #reference = 0;
  #windowEndNs = Number.NEGATIVE_INFINITY;

  /** Hot path. @param transitNs arrival less sending time of a first copy, on any two clocks */
  record(transitNs: number, arrivalNs: number): void {
    if (arrivalNs >= this.#windowEndNs) this.#open(transitNs, arrivalNs);
    this.#window.record(transitNs - this.#reference);
  }

  /** A new source, whose clock has nothing to do with the old one's. */
  restart(): void {
    this.#close();
    this.#windowEndNs = Number.NEGATIVE_INFINITY;
  }

  /** @returns the variation of the windows that ended since the last `take` */
  take(): HistogramData {
    return this.#variation.take();
  }

  /**
   * The reference only keeps the numbers small, as buckets are finest near 0: the least transit of the window before, or
   * the first transit when there is none.
   */
  #open(transitNs: number, arrivalNs: number): void {
    const isFirst = this.#windowEndNs === Number.NEGATIVE_INFINITY;
    const least = this.#reference + this.#window.min;
    this.#close();
    this.#reference = isFirst ? transitNs : least;
    this.#windowEndNs = (Math.floor(arrivalNs / PDV_WINDOW_NS) + 1) * PDV_WINDOW_NS;
  }

  #close(): void {
    if (this.#window.count === 0) return;
    this.#variation.addShifted(this.#window, this.#window.min);
    this.#window.clear();
  }
}
