import { type NameBlock, writeNames } from "./name-block.ts";
import { isSelected, MOST_SHIFT } from "./payload-digest.ts";

/**
 * The names of one interval as they come. Its room is made at the start; a stream that would fill it has fewer of its packets
 * named, and keeps to that. The selection is by the name itself, so whatever rates hosts end at, what the coarsest of them
 * has is what all of them can compare.
 */
export class NameList {
  readonly #digests: Uint32Array;
  readonly #timesNs: Float64Array;
  readonly #missing: Float64Array;
  #count = 0;
  #shift = 0;
  #carried = 0;

  /** @param capacity names in one interval */
  constructor(capacity: number) {
    this.#digests = new Uint32Array(capacity);
    this.#timesNs = new Float64Array(capacity);
    this.#missing = new Float64Array(capacity);
  }

  /** Hot path. @param missing transport stream packets that the counters show missing before this packet */
  add(digest: number, arrivalNs: number, missing: number): void {
    this.#carried += missing;
    if (!isSelected(digest, this.#shift)) return;
    if (this.#count === this.#digests.length) this.#thin();
    if (this.#count === this.#digests.length || !isSelected(digest, this.#shift)) return;
    this.#digests[this.#count] = digest;
    this.#timesNs[this.#count] = arrivalNs;
    this.#missing[this.#count] = this.#carried;
    this.#carried = 0;
    this.#count += 1;
  }

  /** @returns what came since the last call; null: nothing */
  take(): NameBlock | null {
    if (this.#count === 0) return null;
    const upTo = this.#count;
    this.#count = 0;
    return writeNames(
      {
        digests: Array.from(this.#digests.subarray(0, upTo)),
        timesNs: Array.from(this.#timesNs.subarray(0, upTo)),
        missing: Array.from(this.#missing.subarray(0, upTo)),
      },
      this.#shift,
    );
  }

  /** Until something falls away: names may all lie in the lower half. */
  #thin(): void {
    while (this.#count === this.#digests.length && this.#shift < MOST_SHIFT) {
      this.#shift += 1;
      let kept = 0;
      let carried = 0;
      for (let i = 0; i < this.#count; i++) {
        carried += this.#missing[i] as number;
        if (!isSelected(this.#digests[i] as number, this.#shift)) continue;
        this.#digests[kept] = this.#digests[i] as number;
        this.#timesNs[kept] = this.#timesNs[i] as number;
        this.#missing[kept] = carried;
        carried = 0;
        kept += 1;
      }
      this.#carried += carried;
      this.#count = kept;
    }
  }
}
