const HELD = 4096;
const WIDTH = 6; // seq, sentNs, arrivalNs, sizeBytes, ttl, dscp
/** A restarted sender is taken for one once its predecessor has been silent for this long. Our choice. */
const SILENCE_NS = 250e6;

/**
 * Packets with a new sender id: the sender restarted, or a second one sends on the same stream? Nothing in one packet
 * tells. So the newcomer's packets are held, up to `HELD`, until the old sender is heard again (then there are two, and
 * the newcomer is counted but not measured) or has been silent for long enough (then it restarted, and what was held is
 * measured). Long enough is 250 ms and twice the old sender's longest silence so far, which covers its bursts.
 */
export class SenderWatch {
  #rows: Float64Array | null = null; // few receptions meet a second sender
  #count = 0;
  #heldId = -1;
  /** The last newcomer whose predecessor was heard again: not taken for a restart without the full silence. */
  #interleavedId = -1;

  get heldId(): number {
    return this.#heldId;
  }
  get heldCount(): number {
    return this.#count;
  }
  get isFull(): boolean {
    return this.#count === HELD;
  }
  /** The newcomer has never been heard between packets of the old sender. */
  get isFresh(): boolean {
    return this.#heldId !== this.#interleavedId;
  }

  static isSilent(silenceNs: number, longestSilenceNs: number): boolean {
    return silenceNs >= Math.max(SILENCE_NS, 2 * longestSilenceNs);
  }

  hold(
    senderId: number,
    seq: number,
    sentNs: number,
    arrivalNs: number,
    sizeBytes: number,
    ttl: number,
    dscp: number,
  ): void {
    this.#rows ??= new Float64Array(HELD * WIDTH);
    this.#heldId = senderId;
    const at = this.#count * WIDTH;
    this.#rows[at] = seq;
    this.#rows[at + 1] = sentNs;
    this.#rows[at + 2] = arrivalNs;
    this.#rows[at + 3] = sizeBytes;
    this.#rows[at + 4] = ttl;
    this.#rows[at + 5] = dscp;
    this.#count += 1;
  }

  /** @param column in the order of `hold`, from `seq` on */
  read(index: number, column: 0 | 1 | 2 | 3 | 4 | 5): number {
    return this.#rows === null ? Number.NaN : (this.#rows[index * WIDTH + column] as number);
  }

  /** The old sender was heard: there are two. @returns how many packets were held */
  dismiss(): number {
    this.#interleavedId = this.#heldId;
    return this.release();
  }

  /** @returns how many packets were held */
  release(): number {
    const count = this.#count;
    this.#count = 0;
    this.#heldId = -1;
    return count;
  }
}
