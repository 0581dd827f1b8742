/** The interval of RFC 4445, section 3. The seconds are whole ones of the time base, whenever a receipt is cut. */
const INTERVAL_NS = 1e9;

/**
 * Media delivery index (RFC 4445): delay factor and media loss, second by second.
 *
 * The delay factor is the spread of a virtual buffer that fills by packets and drains at the media rate: VB = bytes
 * received - rate * time, both counted from the last packet of the second before; DF = (max VB - min VB) / rate. A second
 * whose predecessor had no packet, or during which the rate changed, has none; a second without a packet neither.
 */
export class MediaDelivery {
  readonly #mediaPacketsPerDatagram: number;
  #bytesPerNs: number; // 0: unknown
  #endNs = Number.NEGATIVE_INFINITY; // of the open second
  #isWhole = false; // the open second can have a delay factor
  #originNs = 0;
  #lastNs = 0;
  #bytes = 0;
  #maxBytes = 0;
  #minBytes = 0;
  #packets = 0;
  #missed = 0;

  #seconds = 0;
  #missedMax = 0;
  #intervals = 0;
  #maxNs = 0;

  constructor(mediaRateBps: number | null, mediaPacketsPerDatagram: number) {
    this.#bytesPerNs = mediaRateBps === null ? 0 : mediaRateBps / 8e9;
    this.#mediaPacketsPerDatagram = mediaPacketsPerDatagram;
  }

  setRate(mediaRateBps: number | null): void {
    this.#bytesPerNs = mediaRateBps === null ? 0 : mediaRateBps / 8e9;
    this.#isWhole = false;
  }

  /** Hot path. @param missedPackets numbers that this packet jumped over: lost, or late and then out of order */
  record(arrivalNs: number, sizeBytes: number, missedPackets: number): void {
    if (arrivalNs >= this.#endNs) this.#roll(arrivalNs);
    const before = this.#bytes - this.#bytesPerNs * (arrivalNs - this.#originNs);
    const after = before + sizeBytes;
    if (before < this.#minBytes) this.#minBytes = before;
    if (after > this.#maxBytes) this.#maxBytes = after;
    this.#bytes += sizeBytes;
    this.#packets += 1;
    this.#missed += missedPackets;
    this.#lastNs = arrivalNs;
  }

  /** The source ended: the losses of the open second count, a delay factor it has none, being no whole second. */
  restart(): void {
    this.#isWhole = false;
    this.#close();
    this.#endNs = Number.NEGATIVE_INFINITY;
    this.#packets = 0;
  }

  /** @returns the greatest delay factor; null if no second that has one ended since the last call */
  takeDelayFactorMax(): number | null {
    if (this.#intervals === 0) return null;
    const maxNs = this.#maxNs;
    this.#intervals = 0;
    this.#maxNs = 0;
    return maxNs;
  }

  /** @returns the most media packets lost or out of order in a second; null if no second ended since the last call */
  takeLossMax(): number | null {
    if (this.#seconds === 0) return null;
    const max = this.#missedMax * this.#mediaPacketsPerDatagram;
    this.#seconds = 0;
    this.#missedMax = 0;
    return max;
  }

  #roll(arrivalNs: number): void {
    const isNext = arrivalNs < this.#endNs + INTERVAL_NS;
    this.#close();
    this.#isWhole = isNext && this.#packets > 0 && this.#bytesPerNs > 0;
    this.#endNs = (Math.floor(arrivalNs / INTERVAL_NS) + 1) * INTERVAL_NS;
    this.#originNs = this.#lastNs;
    this.#bytes = 0;
    this.#maxBytes = 0;
    this.#minBytes = 0;
    this.#packets = 0;
  }

  #close(): void {
    if (this.#packets === 0) return;
    this.#seconds += 1;
    if (this.#missed > this.#missedMax) this.#missedMax = this.#missed;
    this.#missed = 0;
    if (!this.#isWhole) return;
    const delayFactorNs = Math.round((this.#maxBytes - this.#minBytes) / this.#bytesPerNs);
    this.#intervals += 1;
    if (delayFactorNs > this.#maxNs) this.#maxNs = delayFactorNs;
  }
}
