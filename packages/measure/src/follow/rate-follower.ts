import { ArrivalTally } from "../arrival-tally.ts";
import type { Stretch } from "../stream-receipt.ts";

const SECOND_NS = 1e9;

/** Of whole seconds of the time base that ended since the last cut, empty ones between packets included. */
export interface RateReceipt {
  readonly fromNs: number;
  readonly toNs: number;
  readonly packets: number;
  readonly receivedBytes: number;
  readonly firstArrivalNs: number | null;
  readonly lastArrivalNs: number | null;
  readonly longestSilence: Stretch | null;
  /** Payload bits in the emptiest and in the fullest whole second; null while none has ended. */
  readonly lowestRateBps: number | null;
  readonly highestRateBps: number | null;
  readonly ttlMin: number | null;
  readonly ttlMax: number | null;
}

/** Follows traffic of which nothing but its coming is known: rate and silence. It cannot tell loss. */
export class RateFollower {
  readonly #tally = new ArrivalTally();
  #fromNs: number;
  #second = Number.NaN;
  #secondBytes = 0;
  /** The second in which the traffic began is no whole one. */
  #isWhole = false;
  #lowest = Number.POSITIVE_INFINITY;
  #highest = -1;

  constructor(startNs: number) {
    this.#fromNs = startNs;
  }

  /** Hot path. @param ttl, dscp as `StreamTracker.record` takes them */
  record(arrivalNs: number, sizeBytes: number, ttl: number, dscp: number): void {
    this.#tally.record(arrivalNs, sizeBytes, ttl, dscp);
    const second = Math.floor(arrivalNs / SECOND_NS);
    if (second !== this.#second) this.#roll(second);
    this.#secondBytes += sizeBytes;
  }

  /** @returns what is new since the last cut */
  cut(nowNs: number): RateReceipt {
    const { received, receivedBytes, firstArrivalNs, lastArrivalNs, longestSilence, ttlMin, ttlMax } =
      this.#tally.take();
    const hasRate = this.#highest >= 0;
    const receipt: RateReceipt = {
      fromNs: this.#fromNs,
      toNs: nowNs,
      packets: received,
      receivedBytes,
      firstArrivalNs,
      lastArrivalNs,
      longestSilence,
      lowestRateBps: hasRate ? this.#lowest * 8 : null,
      highestRateBps: hasRate ? this.#highest * 8 : null,
      ttlMin,
      ttlMax,
    };
    this.#fromNs = nowNs;
    this.#lowest = Number.POSITIVE_INFINITY;
    this.#highest = -1;
    return receipt;
  }

  #roll(second: number): void {
    if (this.#isWhole) {
      this.#lowest = Math.min(this.#lowest, second > this.#second + 1 ? 0 : this.#secondBytes);
      this.#highest = Math.max(this.#highest, this.#secondBytes);
    }
    this.#isWhole = !Number.isNaN(this.#second);
    this.#second = second;
    this.#secondBytes = 0;
  }
}
