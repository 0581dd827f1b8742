const SECOND_NS = 1e9;

/**
 * Which missing numbers did this host drop itself? The socket's overflow count (SO_RXQ_OVFL) tells how many packets of
 * the socket were dropped, of whatever stream, and rides on the first packet queued after the drop; a stream's hole shows
 * at its own next packet. So the drops of one second account for at most the numbers that go missing in that second or
 * the next, never for older or newer ones, and each drop once. On a socket with several streams that is an upper bound
 * of the host's part. Seconds are whole ones of the time base, so that no cutting of the reception changes the outcome.
 */
export class HostDropCredit {
  #second = Number.NEGATIVE_INFINITY;
  #fromBefore = 0;
  #fromThis = 0;

  note(drops: number, arrivalNs: number): void {
    this.#roll(arrivalNs);
    this.#fromThis += drops;
  }

  /** @returns how many of `missing` numbers the drops account for; they are spent then */
  claim(missing: number, arrivalNs: number): number {
    this.#roll(arrivalNs);
    const older = Math.min(missing, this.#fromBefore);
    const newer = Math.min(missing - older, this.#fromThis);
    this.#fromBefore -= older;
    this.#fromThis -= newer;
    return older + newer;
  }

  #roll(arrivalNs: number): void {
    const second = Math.floor(arrivalNs / SECOND_NS);
    if (second === this.#second) return;
    this.#fromBefore = second === this.#second + 1 ? this.#fromThis : 0;
    this.#fromThis = 0;
    this.#second = second;
  }
}
