/**
 * Interarrival jitter (RFC 3550, section 6.4.1): J += (|D| - J) / 16, in the order of arrival, where D is the change of
 * transit time from the packet before. Any unit, and any constant offset between the two clocks.
 */
export class InterarrivalJitter {
  #transit = Number.NaN;
  #jitter = 0;
  #max = 0;

  /** Hot path. @param transit arrival less sending time */
  record(transit: number): void {
    const previous = this.#transit;
    this.#transit = transit;
    if (Number.isNaN(previous)) return; // the first packet has none before it
    const change = transit > previous ? transit - previous : previous - transit;
    this.#jitter += (change - this.#jitter) / 16;
    if (this.#jitter > this.#max) this.#max = this.#jitter;
  }

  get value(): number {
    return this.#jitter;
  }

  /** @returns the maximum since the last `takeMax` */
  takeMax(): number {
    const max = this.#max;
    this.#max = this.#jitter;
    return max;
  }

  /** A new source: the next packet has none before it. */
  restart(): void {
    this.#transit = Number.NaN;
    this.#jitter = 0;
  }
}
