import { describePhyMode, type PhyMode } from "../air/phy-mode.ts";
import type { AirCountReading } from "./air-reading-schema.ts";

const MOST_RECEIVERS = 256;
const MOST_MODES = 256;

/** Adds up one kind of frames. */
export class AirCount {
  #frames = 0;
  #bytes = 0;
  #retries = 0;
  #asking = 0;
  #answered = 0;
  #airUs = 0;
  #besideUs = 0;
  #unknownModeFrames = 0;
  readonly #modes = new Map<string, number>();
  readonly #receivers = new Set<string>();

  get airUs(): number {
    return this.#airUs;
  }

  get frames(): number {
    return this.#frames;
  }

  addFrame(receiver: string, bytes: number, isRetry: boolean, asksForAnswer: boolean): void {
    this.#frames += 1;
    this.#bytes += bytes;
    if (isRetry) this.#retries += 1;
    if (asksForAnswer) this.#asking += 1;
    if (this.#receivers.size < MOST_RECEIVERS) this.#receivers.add(receiver);
  }

  /** The time of one frame, or its part of an A-MPDU's. @param waitingUs what goes before it */
  addTime(mode: PhyMode, airUs: number, waitingUs: number): void {
    this.#airUs += airUs;
    this.#besideUs += waitingUs;
    const words = describePhyMode(mode);
    if (this.#modes.size < MOST_MODES || this.#modes.has(words))
      this.#modes.set(words, (this.#modes.get(words) ?? 0) + 1);
  }

  addUnknownMode(): void {
    this.#unknownModeFrames += 1;
  }

  /** One of the frames arrived, as its receiver says. */
  answer(): void {
    this.#answered += 1;
  }

  addAnswerTime(us: number): void {
    this.#besideUs += us;
  }

  reading(hasAnswers: boolean, durationUs: number | null): AirCountReading {
    const isKnown = this.#unknownModeFrames === 0;
    const takenUs = this.#airUs + this.#besideUs;
    return {
      frames: this.#frames,
      bytes: this.#bytes,
      receivers: this.#receivers.size,
      retries: this.#retries,
      acknowledgedRatio: !hasAnswers || this.#asking === 0 ? null : Math.min(1, this.#answered / this.#asking),
      modes: [...this.#modes].map(([mode, frames]) => ({ mode, frames })).sort((a, b) => b.frames - a.frames),
      unknownModeFrames: this.#unknownModeFrames,
      airMs: isKnown ? this.#airUs / 1000 : null,
      takenMs: isKnown ? takenUs / 1000 : null,
      shareRatio: isKnown && durationUs !== null && durationUs > 0 ? takenUs / durationUs : null,
    };
  }
}
