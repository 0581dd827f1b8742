/**
 * When each packet of a steady (or bursty) stream is due. A due time is always computed from the start, never added
 * up, so that rounding and late wake-ups leave no drift.
 */
export class SendSchedule {
  readonly #startNs: number;
  readonly #intervalNs: number;
  readonly #burstPackets: number;

  /** @param intervalNs mean time from packet to packet; @param burstPackets how many share one due time */
  constructor(startNs: number, intervalNs: number, burstPackets: number) {
    this.#startNs = startNs;
    this.#intervalNs = intervalNs;
    this.#burstPackets = burstPackets;
  }

  /** Hot path. @param slot counts packets from 0 @returns ns on the clock of `startNs` */
  dueNs(slot: number): number {
    return this.#startNs + (slot - (slot % this.#burstPackets)) * this.#intervalNs;
  }

  /** Hot path. @returns how many slots are due at `nowNs`, the first of all included */
  dueSlots(nowNs: number): number {
    if (nowNs < this.#startNs) return 0;
    const bursts = Math.floor((nowNs - this.#startNs) / (this.#intervalNs * this.#burstPackets)) + 1;
    const slots = bursts * this.#burstPackets;
    return this.dueNs(slots) <= nowNs ? slots + this.#burstPackets : slots; // the quotient may be rounded down
  }
}

/** @returns ns from packet to packet for `rateBps` of UDP payload */
export const packetIntervalNs = (rateBps: number, payloadBytes: number): number => (payloadBytes * 8e9) / rateBps;
