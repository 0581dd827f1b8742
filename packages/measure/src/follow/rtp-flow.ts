import { EMPTY_HISTOGRAM } from "../log-histogram.ts";
import type { StreamReceipt } from "../stream-receipt.ts";
import { StreamTracker } from "../stream-tracker.ts";
import { rtpClockHz, rtpIsStampedWhenSent } from "./rtp-clock.ts";
import { RtpSequence } from "./rtp-sequence.ts";
import { TsFlow, type TsFlowCounts } from "./ts-flow.ts";

const MODULUS = 65_536;
/** RFC 3550, appendix A.1, believes a number up to 2999 ahead. One stray packet would then hide thousands. */
const MAX_DROPOUT = 3000;
const MAX_MISORDER = 100;
/**
 * A number further ahead than this waits for a second one near it. A late packet may be 100 behind, so strays that are nearer hide
 * nothing, unless a dozen of them come before the stream has caught up. Our choice.
 */
const BELIEVED_AHEAD = 8;
const NEAR = 64;
/** Packets that go on at the old place until a number far ahead is a stray. */
const STRAY_AFTER = 3;
/** What one RTP source did in one interval. */
export interface RtpFlowPart {
  readonly ssrc: number;
  readonly payloadType: number;
  readonly clockHz: number | null;
  /** Every packet with this SSRC, those in doubt included. */
  readonly packets: number;
  readonly bytes: number;
  /** Stray numbers (RFC 3550, appendix A.1). */
  readonly rejected: number;
  /** Its numbers begin at 65,536 and up; a sender id counts how often the source's numbers began anew. */
  readonly receipt: StreamReceipt;
  /** Where its payload is a transport stream. */
  readonly ts: TsFlowCounts | null;
}

/** One RTP source, by its own sequence numbers. */
export class RtpFlow {
  readonly ssrc: number;
  readonly #sequence: RtpSequence;
  readonly #tracker: StreamTracker;
  #restarts = 0;
  #timestamp = -1;
  /** Timestamp without its wraps. */
  #ticks = 0;
  #payloadType = 0;
  #packets = 0;
  #bytes = 0;
  #rejected = 0;
  #ts: TsFlow | null = null;
  #isLookedAt = false;
  /** Highest number believed so far. */
  #top: number;
  /** A packet far ahead: number, timestamp, arrival, size, TTL and DSCP; number -1: none waits. */
  readonly #ahead = new Float64Array(6).fill(-1);
  #passed = 0;
  /** The last packet's number if it was too far off; -1: it was not. */
  #far = -1;
  #lastNs = 0;

  /** @param before the number that opened the probation; the next one ended it */
  constructor(ssrc: number, before: number, seesHostDrops: boolean) {
    this.ssrc = ssrc;
    this.#sequence = new RtpSequence(before);
    this.#sequence.update(before);
    this.#sequence.update((before + 1) % MODULUS);
    this.#top = (before + 1) % MODULUS;
    this.#tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops });
  }

  take(
    bytes: Uint8Array,
    at: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    seq: number,
    timestamp: number,
    payloadType: number,
    payloadAt: number,
    payloadBytes: number,
  ): void {
    this.#packets += 1;
    this.#bytes += length;
    this.#payloadType = payloadType;
    if (this.#waits(seq, timestamp, arrivalNs, length, ttl, dscp)) return;
    if (!this.#judge(seq, timestamp, arrivalNs, length, ttl, dscp)) return;
    if (!this.#isLookedAt) {
      this.#isLookedAt = true;
      if (TsFlow.isTransportStream(bytes, at + payloadAt, payloadBytes)) this.#ts = new TsFlow();
    }
    this.#ts?.record(bytes, at + payloadAt, payloadBytes, arrivalNs);
  }

  /** @returns whether it is too early to believe this number; one that waited and is believed now is taken in */
  #waits(seq: number, timestamp: number, arrivalNs: number, length: number, ttl: number, dscp: number): boolean {
    const ahead = (seq - this.#top + MODULUS) % MODULUS;
    const held = this.#ahead[0] as number;
    if (ahead >= MAX_DROPOUT && ahead <= MODULUS - MAX_MISORDER) return !this.#begins(seq);
    this.#far = -1;
    if (ahead <= BELIEVED_AHEAD || ahead >= MAX_DROPOUT) {
      if (held < 0 || ++this.#passed < STRAY_AFTER) return false;
      this.#ahead[0] = -1;
      this.#rejected += 1;
      return false;
    }
    const near = (seq - held + MODULUS) % MODULUS;
    if (held >= 0 && (near <= NEAR || near >= MODULUS - NEAR)) {
      const [, heldTimestamp = 0, heldNs = 0, heldLength = 0, heldTtl = -1, heldDscp = -1] = this.#ahead;
      this.#ahead[0] = -1;
      // Arrivals never go backwards, and others may have been taken in meanwhile.
      this.#judge(held, heldTimestamp, Math.max(heldNs, this.#lastNs), heldLength, heldTtl, heldDscp);
      return false;
    }
    if (held >= 0) this.#rejected += 1;
    this.#passed = 0;
    this.#ahead.set([seq, timestamp, arrivalNs, length, ttl, dscp]);
    return true;
  }

  /**
   * A number that is too far off either way begins the source's numbers anew if the very next packet goes on from it. RFC 3550,
   * appendix A.1, takes any later one for that; strays that come now and then would meet it.
   */
  #begins(seq: number): boolean {
    const before = this.#far;
    this.#far = seq;
    if (before >= 0 && seq === (before + 1) % MODULUS) {
      this.#sequence.update(before);
      return true;
    }
    this.#rejected += 1;
    return false;
  }

  /** @returns whether the packet is one of the stream's */
  #judge(seq: number, timestamp: number, arrivalNs: number, length: number, ttl: number, dscp: number): boolean {
    this.#lastNs = arrivalNs;
    const verdict = this.#sequence.update(seq);
    if (this.#timestamp < 0) this.#ticks = timestamp;
    else this.#ticks += (timestamp - this.#timestamp) | 0; // late packets go backwards: the nearer way round counts
    this.#timestamp = timestamp;
    if (verdict === "probation" || verdict === "rejected") {
      this.#rejected += 1;
      return false;
    }
    if (verdict === "resynchronised") this.#restarts += 1;
    if (verdict === "resynchronised" || (seq - this.#top + MODULUS) % MODULUS < MODULUS / 2) this.#top = seq;
    const clockHz = rtpClockHz(this.#payloadType);
    const sentNs = clockHz === null ? arrivalNs : Math.round((this.#ticks * 1e9) / clockHz);
    this.#tracker.record(this.#sequence.extended + MODULUS, sentNs, arrivalNs, length, this.#restarts, ttl, dscp);
    return true;
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    this.#tracker.noteHostDrops(drops, arrivalNs);
  }

  cut(isLast: boolean): RtpFlowPart {
    const receipt = isLast ? this.#tracker.finish() : this.#tracker.cut();
    const clockHz = rtpClockHz(this.#payloadType);
    const part = {
      ssrc: this.ssrc,
      payloadType: this.#payloadType,
      clockHz,
      packets: this.#packets,
      bytes: this.#bytes,
      rejected: this.#rejected,
      receipt: {
        ...receipt,
        jitterNs: clockHz === null ? null : receipt.jitterNs,
        jitterMaxNs: clockHz === null ? null : receipt.jitterMaxNs,
        pdvNs: rtpIsStampedWhenSent(this.#payloadType) ? receipt.pdvNs : EMPTY_HISTOGRAM,
      },
      ts: this.#ts?.take() ?? null,
    };
    this.#packets = 0;
    this.#bytes = 0;
    this.#rejected = 0;
    return part;
  }
}
