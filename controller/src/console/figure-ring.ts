import type { LiveFigures } from "@dyetrace/wire/console/live-second";

const FIELDS = 6;

/** The figures of one agent and stream over the last seconds, in numbers alone: thousands of them are kept at once. */
export class FigureRing {
  readonly #seconds: number;
  readonly #numbers: Float64Array;
  /** The second that stands in each place; -1 none. */
  readonly #held: Int32Array;

  /** @param seconds how many are kept */
  constructor(seconds: number) {
    this.#seconds = seconds;
    this.#numbers = new Float64Array(seconds * FIELDS);
    this.#held = new Int32Array(seconds).fill(-1);
  }

  /** @param second 0 or more */
  put(second: number, figures: LiveFigures | null): void {
    if (second < 0) return;
    const place = second % this.#seconds;
    this.#held[place] = figures === null ? -1 : second;
    if (figures === null) return;
    const { received, lost, hostLost, rateBps, jitterMs, longestGapMs } = figures;
    const values = [received, lost, hostLost, rateBps, jitterMs, longestGapMs];
    this.#numbers.set(
      values.map((value) => value ?? Number.NaN),
      place * FIELDS,
    );
  }

  /** @returns null where nothing was told of that second, or it is too long ago */
  get(second: number): LiveFigures | null {
    const place = second % this.#seconds;
    if (second < 0 || this.#held[place] !== second) return null;
    const at = (field: number): number => this.#numbers[place * FIELDS + field] ?? Number.NaN;
    const orNull = (field: number): number | null => (Number.isNaN(at(field)) ? null : at(field));
    return {
      received: at(0),
      lost: at(1),
      hostLost: orNull(2),
      rateBps: at(3),
      jitterMs: orNull(4),
      longestGapMs: orNull(5),
    };
  }
}
