import { RtpFlow, type RtpFlowPart } from "./rtp-flow.ts";
import { emptyRtpHeader, readRtpHeader } from "./rtp-header.ts";

const MODULUS = 65_536;
/** Sources of one group followed at once. */
const MOST_FLOWS = 16;

/**
 * Follows every RTP source of one group by itself, by SSRC. A packet is RTP's once its SSRC has sent two numbers in a row
 * (RFC 3550, appendix A.1), so no accident of bits makes a source. Hot path: `record` allocates only for a new source.
 */
export class RtpFlows {
  readonly #header = emptyRtpHeader();
  readonly #flows: RtpFlow[] = [];
  readonly #triedSsrc = new Float64Array(MOST_FLOWS).fill(-1);
  readonly #triedSeq = new Int32Array(MOST_FLOWS);
  #nextTry = 0;
  readonly #seesHostDrops: boolean;

  constructor(seesHostDrops: boolean) {
    this.#seesHostDrops = seesHostDrops;
  }

  /** @returns whether the packet is one of a known source; @param length of the packet, of which `present` bytes stand at `at` */
  record(
    bytes: Uint8Array,
    at: number,
    present: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
  ): boolean {
    const header = this.#header;
    if (!readRtpHeader(bytes, at, present, header)) return false;
    for (let i = 0; i < this.#flows.length; i++) {
      const flow = this.#flows[i] as RtpFlow;
      if (flow.ssrc !== header.ssrc) continue;
      flow.take(
        bytes,
        at,
        length,
        arrivalNs,
        ttl,
        dscp,
        header.seq,
        header.timestamp,
        header.payloadType,
        header.payloadAt,
        header.payloadBytes,
      );
      return true;
    }
    return this.#try(header.ssrc, header.seq);
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    for (const flow of this.#flows) flow.noteHostDrops(drops, arrivalNs);
  }

  /** @param isLast nothing is held back any more */
  cut(isLast: boolean): RtpFlowPart[] {
    return this.#flows.map((flow) => flow.cut(isLast));
  }

  /** The second number in a row makes a source; its first packet only opened the probation and is not counted. */
  #try(ssrc: number, seq: number): boolean {
    for (let i = 0; i < MOST_FLOWS; i++) {
      if (this.#triedSsrc[i] !== ssrc) continue;
      const before = this.#triedSeq[i] as number;
      this.#triedSeq[i] = seq;
      if (seq !== (before + 1) % MODULUS || this.#flows.length === MOST_FLOWS) return false;
      this.#triedSsrc[i] = -1;
      this.#flows.push(new RtpFlow(ssrc, before, this.#seesHostDrops));
      return false; // this packet proves the source, and the next one is its first
    }
    this.#triedSsrc[this.#nextTry] = ssrc;
    this.#triedSeq[this.#nextTry] = seq;
    this.#nextTry = (this.#nextTry + 1) % MOST_FLOWS;
    return false;
  }
}
