import type { ClockEstimate } from "@dyetrace/wire";

/** How many exchanges are remembered: at one a second, the best of the last half minute. */
const REMEMBERED = 32;
/** What two honest clocks may drift apart while an exchange is remembered: 100 ppm of half a minute, tenfold. */
const DRIFT_NS = 30e6;

/**
 * Offset to the controller's clock by request and response. The exchange with the shortest round trip was delayed
 * least, so it says most (the minimum filter of RFC 5905, section 10). Whatever the path's asymmetry, the true offset
 * lies within half that round trip.
 */
export class ClockFilter {
  readonly #exchanges: {
    readonly roundTripNs: number;
    readonly offsetNs: number;
  }[] = [];

  /**
   * @param askedNs, answeredNs the agent's clock when the request left and when the answer came
   * @param controllerNs the controller's clock in between
   */
  record(askedNs: number, controllerNs: number, answeredNs: number): void {
    const roundTripNs = Math.max(0, answeredNs - askedNs);
    const offsetNs = controllerNs - (askedNs + roundTripNs / 2);
    const known = this.estimate();
    // Both can't be right: the controller's clock is another one since, as after a restart of its machine.
    const isAnother =
      known !== null && Math.abs(offsetNs - known.offsetNs) > known.uncertaintyNs + roundTripNs / 2 + DRIFT_NS;
    if (isAnother) this.#exchanges.length = 0;
    this.#exchanges.push({ roundTripNs, offsetNs });
    if (this.#exchanges.length > REMEMBERED) this.#exchanges.shift();
  }

  /** @returns null before the first exchange */
  estimate(): ClockEstimate | null {
    let best = this.#exchanges[0];
    if (best === undefined) return null;
    for (const exchange of this.#exchanges) if (exchange.roundTripNs < best.roundTripNs) best = exchange;
    return { offsetNs: best.offsetNs, uncertaintyNs: best.roundTripNs / 2 };
  }
}
