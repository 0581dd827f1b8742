import type { Stretch } from "./stream-receipt.ts";

const UNKNOWN_TTL = 256;

/** What is counted of every packet whatever its number: size, time, TTL, DSCP. Of one interval. */
export class ArrivalTally {
  received = 0;
  receivedBytes = 0;
  /** NaN before the first packet. Not of the interval: silence reaches across a cut. */
  lastArrivalNs: number = Number.NaN;
  /** Longest silence of the present sender. */
  senderSilenceNs = 0;
  #firstArrivalNs = Number.NaN;
  #silenceNs = 0;
  #silenceStartNs = 0;
  #ttlMin = UNKNOWN_TTL;
  #ttlMax = -1;
  readonly #dscp = new Float64Array(64);

  /** Hot path. @param ttl, dscp as received, -1 if unknown */
  record(arrivalNs: number, sizeBytes: number, ttl: number, dscp: number): void {
    const silenceNs = arrivalNs - this.lastArrivalNs; // NaN at the first packet, and NaN is greater than nothing
    if (silenceNs > this.senderSilenceNs) this.senderSilenceNs = silenceNs;
    if (silenceNs > this.#silenceNs) {
      this.#silenceNs = silenceNs;
      this.#silenceStartNs = this.lastArrivalNs;
    }
    if (this.received === 0) this.#firstArrivalNs = arrivalNs;
    this.lastArrivalNs = arrivalNs;
    this.received += 1;
    this.receivedBytes += sizeBytes;
    if (ttl >= 0) {
      if (ttl < this.#ttlMin) this.#ttlMin = ttl;
      if (ttl > this.#ttlMax) this.#ttlMax = ttl;
    }
    if (dscp >= 0) this.#dscp[dscp & 63] = (this.#dscp[dscp & 63] as number) + 1;
  }

  /** @returns the interval's figures in the receipt's words, and starts the next interval */
  take(): {
    readonly received: number;
    readonly receivedBytes: number;
    readonly firstArrivalNs: number | null;
    readonly lastArrivalNs: number | null;
    readonly longestSilence: Stretch | null;
    readonly ttlMin: number | null;
    readonly ttlMax: number | null;
    readonly dscpSeen: readonly (readonly [number, number])[];
  } {
    const isEmpty = this.received === 0;
    const figures = {
      received: this.received,
      receivedBytes: this.receivedBytes,
      firstArrivalNs: isEmpty ? null : this.#firstArrivalNs,
      lastArrivalNs: isEmpty ? null : this.lastArrivalNs,
      longestSilence: this.#silenceNs > 0 ? { startNs: this.#silenceStartNs, durationNs: this.#silenceNs } : null,
      ttlMin: this.#ttlMax < 0 ? null : this.#ttlMin,
      ttlMax: this.#ttlMax < 0 ? null : this.#ttlMax,
      dscpSeen: [...this.#dscp.entries()].filter(([, packets]) => packets > 0),
    };
    this.received = 0;
    this.receivedBytes = 0;
    this.#silenceNs = 0;
    this.#ttlMin = UNKNOWN_TTL;
    this.#ttlMax = -1;
    this.#dscp.fill(0);
    return figures;
  }
}
