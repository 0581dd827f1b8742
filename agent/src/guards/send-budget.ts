import type { Guards } from "@dyetrace/wire";

/**
 * How much may leave at once: what the guards allow in this time, or one packet of the largest size. In any second at
 * most a quarter more than a second's worth leaves this host.
 */
const AT_ONCE_S = 0.25;
const LARGEST_PACKET_BITS = 65_507 * 8;

export const burstBits = (guards: Guards): number => Math.max(guards.maxRateBps * AT_ONCE_S, LARGEST_PACKET_BITS);
export const burstPackets = (guards: Guards): number => Math.max(guards.maxPacketsPerSecond * AT_ONCE_S, 1);

/**
 * The guards' rates, kept to the packet by whoever hands packets to the kernel: whatever tasks, changes of rate and starts
 * come in whatever order, no more leaves. One for all streams of a host and for all its runs. Two pails that fill at a
 * steady rate.
 */
export class SendBudget {
  /** Set when packets were held back; cleared with `forgive`. */
  isExceeded = false;
  readonly #bitsPerNs: number;
  readonly #packetsPerNs: number;
  readonly #mostBits: number;
  readonly #mostPackets: number;
  #bits: number;
  #packets: number;
  #atNs: number;

  constructor(guards: Guards, nowNs: number) {
    this.#bitsPerNs = guards.maxRateBps / 1e9;
    this.#packetsPerNs = guards.maxPacketsPerSecond / 1e9;
    this.#mostBits = burstBits(guards);
    this.#mostPackets = burstPackets(guards);
    this.#bits = this.#mostBits;
    this.#packets = this.#mostPackets;
    this.#atNs = nowNs;
  }

  /** Hot path. @returns how many of `count` packets may leave now */
  room(count: number, payloadBytes: number, nowNs: number): number {
    const elapsedNs = Math.max(0, nowNs - this.#atNs);
    this.#atNs = nowNs;
    this.#bits = Math.min(this.#mostBits, this.#bits + elapsedNs * this.#bitsPerNs);
    this.#packets = Math.min(this.#mostPackets, this.#packets + elapsedNs * this.#packetsPerNs);
    const room = Math.floor(Math.min(this.#packets, this.#bits / (payloadBytes * 8)));
    if (room >= count) return count;
    this.isExceeded = true;
    return room;
  }

  /** Hot path. */
  spend(count: number, payloadBytes: number): void {
    this.#packets -= count;
    this.#bits -= count * payloadBytes * 8;
  }

  /** Before another run: what is left stays as it is. */
  forgive(): void {
    this.isExceeded = false;
  }
}
