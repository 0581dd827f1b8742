const MODULUS = 65_536;
const MAX_DROPOUT = 3000;
const MAX_MISORDER = 100;
const MIN_SEQUENTIAL = 2;

/**
 * What a number is: not yet proven to be a stream's, in order or nearly so, too far off to be believed, or the second in
 * a row that far off, from where the source is followed anew.
 */
export type RtpSequenceVerdict = "probation" | "accepted" | "rejected" | "resynchronised";

/**
 * Extends the 16-bit sequence numbers of one source, by the algorithm of RFC 3550, appendix A.1, boundaries as its code
 * has them (exactly 3000 ahead or 100 behind is rejected, whatever the prose says). The first packet of a source only
 * opens the probation and is not counted.
 */
export class RtpSequence {
  /** The last accepted packet's number with its cycles; a late packet from before the first wrap has a negative one. */
  extended = 0;
  #baseSeq = 0;
  #maxSeq: number;
  #badSeq = MODULUS + 1; // no number equals it
  #cycles = 0;
  #received = 0;
  #probation = MIN_SEQUENTIAL;

  /** @param seq the number of the source's first packet, which is passed to `update` next */
  constructor(seq: number) {
    this.#maxSeq = (seq + MODULUS - 1) % MODULUS;
  }

  /** Hot path. @param seq 0 to 65535 */
  update(seq: number): RtpSequenceVerdict {
    const ahead = (seq - this.#maxSeq + MODULUS) % MODULUS;
    if (this.#probation > 0) {
      this.#probation = ahead === 1 ? this.#probation - 1 : MIN_SEQUENTIAL - 1;
      this.#maxSeq = seq;
      if (this.#probation > 0) return "probation";
      this.#start(seq);
      return "accepted";
    }
    if (ahead < MAX_DROPOUT) {
      if (seq < this.#maxSeq) this.#cycles += MODULUS;
      this.#maxSeq = seq;
    } else if (ahead <= MODULUS - MAX_MISORDER) {
      if (seq !== this.#badSeq) {
        this.#badSeq = (seq + 1) % MODULUS;
        return "rejected";
      }
      this.#start(seq);
      return "resynchronised";
    }
    this.extended = this.#cycles + seq - (seq > this.#maxSeq ? MODULUS : 0);
    this.#received += 1;
    return "accepted";
  }

  /** RFC 3550, appendix A.3. `lost` counts copies as received, so it may be negative: for reports, not for a verdict. */
  get statistics(): {
    readonly baseSeq: number;
    readonly cycles: number;
    readonly extendedMax: number;
    readonly expected: number;
    readonly received: number;
    readonly lost: number;
  } {
    const extendedMax = this.#cycles + this.#maxSeq;
    const expected = extendedMax - this.#baseSeq + 1;
    const lost = Math.min(0x7fffff, Math.max(-0x800000, expected - this.#received));
    return { baseSeq: this.#baseSeq, cycles: this.#cycles, extendedMax, expected, received: this.#received, lost };
  }

  #start(seq: number): void {
    this.#baseSeq = seq;
    this.#maxSeq = seq;
    this.#badSeq = MODULUS + 1;
    this.#cycles = 0;
    this.#received = 1;
    this.extended = seq;
  }
}

/** Share of an interval's packets lost, as the 8 bits of a receiver report: 0 if not positive (RFC 3550, appendix A.3). */
export const rtpFractionLost = (lost: number, expected: number): number =>
  expected === 0 || lost <= 0 ? 0 : Math.floor((256 * lost) / expected);
