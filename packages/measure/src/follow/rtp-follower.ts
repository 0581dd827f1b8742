import { EMPTY_HISTOGRAM } from "../log-histogram.ts";
import type { StreamReceipt } from "../stream-receipt.ts";
import { type Recorded, StreamTracker } from "../stream-tracker.ts";
import { rtpClockHz, rtpIsStampedWhenSent } from "./rtp-clock.ts";
import { emptyRtpHeader, type RtpHeader, readRtpHeader } from "./rtp-header.ts";
import { RtpSequence } from "./rtp-sequence.ts";

const TWO_32 = 2 ** 32;
const MODULUS = 65_536;
/** Sources remembered at once: a group carries one, two while it changes over. */
const MAX_SOURCES = 16;

export interface RtpFollowerOptions {
  /** Clock of the timestamps; null to take it from the payload type where RFC 3551 fixes it. */
  readonly clockHz: number | null;
}

/** What `record` made of a packet; `probation` and `rejected` packets are not measured. */
export type RtpRecorded = Recorded | "not-rtp" | "probation" | "rejected";

export interface RtpReceipt {
  /**
   * Numbers are extended beyond 16 bits and begin a cycle up, so modulo 65536 they are the packets' own. Jitter is null
   * without a clock. `senderRestarts` are new SSRCs and numbers that jumped by 3000 or more: after those nobody can tell a
   * long outage from a restarted source, so no loss is counted across them, and the silence tells the time.
   */
  readonly receipt: StreamReceipt;
  readonly ssrc: number | null;
  readonly payloadType: number | null;
  readonly clockHz: number | null;
  /** First packets of a source, which alone prove nothing, and stray numbers (RFC 3550, appendix A.1). */
  readonly probationPackets: number;
  readonly rejectedPackets: number;
}

interface Source {
  readonly sequence: RtpSequence;
  /** How often its numbers were followed anew. */
  resyncs: number;
  timestamp: number;
  /** Timestamp without its wraps. */
  ticks: number;
}

/** Follows an RTP stream of somebody else's by its own numbers, with the same record of every number as a test stream. */
export class RtpFollower {
  /** Header of the last packet that was RTP, for the payload's place. */
  readonly header: RtpHeader = emptyRtpHeader();
  readonly #tracker: StreamTracker;
  readonly #clockHz: number | null;
  readonly #sources = new Map<number, Source>();
  #hasHeader = false;
  #probationPackets = 0;
  #rejectedPackets = 0;

  constructor(options: RtpFollowerOptions) {
    this.#clockHz = options.clockHz;
    this.#tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  }

  /** Hot path. @param ttl, dscp as `StreamTracker.record` takes them */
  record(bytes: Uint8Array, at: number, length: number, arrivalNs: number, ttl: number, dscp: number): RtpRecorded {
    const header = this.header;
    if (!readRtpHeader(bytes, at, length, header)) {
      return "not-rtp";
    }
    this.#hasHeader = true;
    const source = this.#sourceOf(header);
    const verdict = source.sequence.update(header.seq);
    this.#advanceTicks(source, header.timestamp);
    if (verdict === "probation") {
      this.#probationPackets += 1;
      return "probation";
    }
    if (verdict === "rejected") {
      this.#rejectedPackets += 1;
      return "rejected";
    }
    if (verdict === "resynchronised") source.resyncs += 1;
    const clockHz = this.#clockOf(header.payloadType);
    const sentNs = clockHz === null ? arrivalNs : Math.round((source.ticks * 1e9) / clockHz);
    return this.#tracker.record(
      source.sequence.extended + MODULUS, // a late packet from before the first wrap is not negative then
      sentNs,
      arrivalNs,
      length,
      header.ssrc + source.resyncs * TWO_32,
      ttl,
      dscp,
    );
  }

  /** @returns what is new since the last cut */
  cut(): RtpReceipt {
    return this.#receipt(this.#tracker.cut());
  }

  finish(): RtpReceipt {
    return this.#receipt(this.#tracker.finish());
  }

  #sourceOf(header: RtpHeader): Source {
    const known = this.#sources.get(header.ssrc);
    if (known !== undefined) return known;
    const { seq, timestamp } = header;
    const source = { sequence: new RtpSequence(seq), resyncs: 0, timestamp, ticks: timestamp };
    if (this.#sources.size === MAX_SOURCES) {
      for (const oldest of this.#sources.keys()) {
        this.#sources.delete(oldest);
        break;
      }
    }
    this.#sources.set(header.ssrc, source);
    return source;
  }

  /** A timestamp may go backwards, as late packets do: the nearer way round counts. */
  #advanceTicks(source: Source, timestamp: number): void {
    source.ticks += (timestamp - source.timestamp) | 0;
    source.timestamp = timestamp;
  }

  #clockOf(payloadType: number): number | null {
    return this.#clockHz ?? rtpClockHz(payloadType);
  }

  #receipt(receipt: StreamReceipt): RtpReceipt {
    const payloadType = this.#hasHeader ? this.header.payloadType : null;
    const clockHz = payloadType === null ? null : this.#clockOf(payloadType);
    // Elsewhere packets share a timestamp, so the differences are no delays.
    const isStampedWhenSent = payloadType !== null && rtpIsStampedWhenSent(payloadType) && clockHz !== null;
    const told: RtpReceipt = {
      receipt: {
        ...receipt,
        jitterNs: clockHz === null ? null : receipt.jitterNs,
        jitterMaxNs: clockHz === null ? null : receipt.jitterMaxNs,
        pdvNs: isStampedWhenSent ? receipt.pdvNs : EMPTY_HISTOGRAM,
      },
      ssrc: this.#hasHeader ? this.header.ssrc : null,
      payloadType,
      clockHz,
      probationPackets: this.#probationPackets,
      rejectedPackets: this.#rejectedPackets,
    };
    this.#probationPackets = 0;
    this.#rejectedPackets = 0;
    return told;
  }
}
