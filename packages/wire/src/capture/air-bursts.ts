import { answerUs, difsUs, meanBackoffUs, psduBytes } from "../air/air-exchange.ts";
import type { PhyMode } from "../air/phy-mode.ts";
import { ppduUs, type RadioBand } from "../air/ppdu-time.ts";
import type { AirCount } from "./air-count.ts";

/** As many frames as one block acknowledgement answers. */
const MOST_AGGREGATED = 256;

/** What the frames of one PPDU have in common. */
export interface BurstHead {
  readonly mode: PhyMode;
  readonly band: RadioBand;
  /** The capture's number of the A-MPDU; null outside of one. */
  readonly aggregate: number | null;
  readonly transmitter: string;
  readonly receiver: string;
}

interface Burst extends BurstHead {
  readonly frames: { readonly bytes: number; readonly counts: readonly AirCount[] }[];
}

/** Puts the frames of each PPDU together: one, or those of an A-MPDU. When it ends, each gets its part of the time. */
export class AirBursts {
  #now: Burst | null = null;

  /** @returns how long the PPDU is by now, us */
  add(head: BurstHead, bytes: number, counts: readonly AirCount[]): number {
    const now = this.#now;
    const isSame =
      now !== null &&
      head.aggregate !== null &&
      now.aggregate === head.aggregate &&
      now.transmitter === head.transmitter &&
      now.receiver === head.receiver &&
      now.frames.length < MOST_AGGREGATED;
    if (isSame) now.frames.push({ bytes, counts });
    else {
      this.end();
      this.#now = { ...head, frames: [{ bytes, counts }] };
    }
    return this.#us();
  }

  /**
   * The PPDU has ended: its time is shared out by the frames' lengths.
   * @returns how long its answer takes by the formulas, us; null where there was none to end
   */
  end(): number | null {
    const now = this.#now;
    if (now === null) return null;
    const airUs = this.#us();
    this.#now = null;
    const waitingUs = difsUs(now.band, now.mode) + meanBackoffUs(now.band, now.mode);
    const allBytes = now.frames.reduce((sum, { bytes }) => sum + bytes, 0);
    for (const { bytes, counts } of now.frames) {
      const part = bytes / allBytes / Math.max(1, counts.length);
      for (const count of counts) count.addTime(now.mode, airUs * part, waitingUs * part);
    }
    return answerUs(now.mode, now.frames.length, now.band);
  }

  #us(): number {
    if (this.#now === null) return 0;
    const { mode, band, frames } = this.#now;
    const sizes = frames.map(({ bytes }) => bytes);
    return ppduUs(mode, psduBytes(mode, sizes), band);
  }
}
