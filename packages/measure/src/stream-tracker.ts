import { ArrivalRing } from "./arrival-ring.ts";
import { ArrivalTally } from "./arrival-tally.ts";
import { PacketDelayVariation } from "./delay-variation.ts";
import { InterarrivalJitter } from "./interarrival-jitter.ts";
import { MediaDelivery } from "./media-delivery.ts";
import { SenderWatch } from "./sender-watch.ts";
import { COPY, FIRST_COPY, type Judgement, LATE, SequenceRecord } from "./sequence-record.ts";
import type { StreamReceipt } from "./stream-receipt.ts";

/** How long after a number showed missing it may still arrive: RFC 7680's Tmax, counted from there. Our choice. */
export const REORDER_TIME_NS = 1e9;

export interface StreamTrackerOptions {
  readonly reorderTimeNs?: number;
  /** UDP payload bits per second as the source was told, for the delay factor; null if unknown. */
  readonly mediaRateBps: number | null;
  /** RFC 4445 counts media packets: 7 for a datagram of 7 transport stream packets. Default 1. */
  readonly mediaPacketsPerDatagram?: number;
  /** Whether the platform tells how many packets the socket dropped (SO_RXQ_OVFL). */
  readonly seesHostDrops: boolean;
}

/** What `record` made of a packet: `HELD` until it is clear whose it is. */
export const HELD = 3;
export type Recorded = Judgement | typeof HELD;
export { COPY, FIRST_COPY, LATE };

/**
 * Measures one stream at one listener, for one membership: after a leave, finish it and make a new one. It is driven by
 * packets alone, so cutting receipts at any instants changes nothing in their sum. Times are whole nanoseconds as
 * numbers: sending times on any clock, arrivals never going backwards.
 */
export class StreamTracker {
  readonly #tally = new ArrivalTally();
  readonly #sequence: SequenceRecord;
  readonly #jitter = new InterarrivalJitter();
  readonly #pdv = new PacketDelayVariation();
  readonly #media: MediaDelivery;
  readonly #watch = new SenderWatch();
  readonly #seesHostDrops: boolean;

  #senderId = -1;
  #senderRestarts = 0;
  #otherSenderPackets = 0;
  #hostDrops = 0;
  #isFirst = true;

  constructor(options: StreamTrackerOptions) {
    this.#seesHostDrops = options.seesHostDrops;
    this.#sequence = new SequenceRecord(new ArrivalRing(), options.reorderTimeNs ?? REORDER_TIME_NS);
    this.#media = new MediaDelivery(options.mediaRateBps, options.mediaPacketsPerDatagram ?? 1);
  }

  /**
   * Hot path: takes one packet. About 150 ns (tests/bench/measure.bench.mjs). Allocates nothing itself but the doubling of
   * a list while loss grows; V8 boxes a number or two where it does not inline a call.
   * @param seq sequence number, 0 to 2^53 - 1; @param senderId 0 or more; @param ttl, dscp as received, -1 if unknown
   */
  record(
    seq: number,
    sentNs: number,
    arrivalNs: number,
    sizeBytes: number,
    senderId: number,
    ttl: number,
    dscp: number,
  ): Recorded {
    if (senderId !== this.#senderId) return this.#meet(seq, sentNs, arrivalNs, sizeBytes, senderId, ttl, dscp);
    if (this.#watch.heldCount > 0) this.#otherSenderPackets += this.#watch.dismiss();
    return this.#measure(seq, sentNs, arrivalNs, sizeBytes, ttl, dscp);
  }

  /**
   * Call before `record` of the packet that carried the news.
   * @param drops packets that the socket dropped since the last call, of whatever stream
   */
  noteHostDrops(drops: number, arrivalNs: number): void {
    this.#hostDrops += drops;
    this.#sequence.hostDrops.note(drops, arrivalNs);
  }

  /** The source was told another rate. The second in which this happens has no delay factor. */
  setMediaRate(mediaRateBps: number | null): void {
    this.#media.setRate(mediaRateBps);
  }

  /**
   * @returns what is new since the last cut. Numbers that may still arrive are held back until a later packet settles
   * them: the receipt's spans end before them.
   */
  cut(): StreamReceipt {
    return this.#receipt(false);
  }

  /** Ends the reception. @returns the last receipt: nothing is held back, what is missing is lost. Use no more. */
  finish(): StreamReceipt {
    if (this.#watch.heldCount > 0) {
      if (this.#watch.isFresh) this.#succeed();
      else this.#otherSenderPackets += this.#watch.release();
    }
    this.#sequence.end();
    this.#pdv.restart();
    this.#media.restart();
    return this.#receipt(true);
  }

  #measure(seq: number, sentNs: number, arrivalNs: number, sizeBytes: number, ttl: number, dscp: number): Judgement {
    const transitNs = arrivalNs - sentNs;
    this.#tally.record(arrivalNs, sizeBytes, ttl, dscp);
    this.#jitter.record(transitNs);
    const judgement = this.#sequence.record(seq, arrivalNs);
    if (judgement !== FIRST_COPY) return judgement;
    this.#media.record(arrivalNs, sizeBytes, this.#sequence.missed);
    this.#pdv.record(transitNs, arrivalNs);
    return FIRST_COPY;
  }

  /** A packet with another sender id than the measured one's. */
  #meet(
    seq: number,
    sentNs: number,
    arrivalNs: number,
    sizeBytes: number,
    senderId: number,
    ttl: number,
    dscp: number,
  ): Recorded {
    const watch = this.#watch;
    if (this.#senderId === -1) {
      this.#start(senderId, seq, arrivalNs);
      return this.#measure(seq, sentNs, arrivalNs, sizeBytes, ttl, dscp);
    }
    if (watch.heldCount > 0 && watch.heldId !== senderId) {
      // A third one: the second restarted in its turn, unless it was known to share the stream.
      if (watch.isFresh) this.#succeed();
      else this.#otherSenderPackets += watch.release();
    }
    const silenceNs = arrivalNs - this.#tally.lastArrivalNs;
    watch.hold(senderId, seq, sentNs, arrivalNs, sizeBytes, ttl, dscp);
    if (watch.isFull || SenderWatch.isSilent(silenceNs, this.#tally.senderSilenceNs)) this.#succeed();
    return HELD;
  }

  /** The held sender takes over: what was held is measured. */
  #succeed(): void {
    const watch = this.#watch;
    this.#senderRestarts += 1;
    this.#start(watch.heldId, watch.read(0, 0), watch.read(0, 2));
    const count = watch.heldCount;
    for (let i = 0; i < count; i++) {
      this.#measure(
        watch.read(i, 0),
        watch.read(i, 1),
        watch.read(i, 2),
        watch.read(i, 3),
        watch.read(i, 4),
        watch.read(i, 5),
      );
    }
    watch.release();
  }

  #start(senderId: number, seq: number, arrivalNs: number): void {
    this.#senderId = senderId;
    this.#sequence.startSender(senderId, seq, arrivalNs);
    this.#jitter.restart();
    this.#pdv.restart();
    this.#media.restart();
    this.#tally.senderSilenceNs = 0;
  }

  #receipt(isFinal: boolean): StreamReceipt {
    const sequence = this.#sequence;
    const isEmpty = this.#tally.received === 0;
    const lastArrivalNs = this.#tally.lastArrivalNs;
    const receipt: StreamReceipt = {
      isFirst: this.#isFirst,
      isFinal,
      ...this.#tally.take(),
      firstCopies: sequence.firstCopies,
      duplicates: sequence.duplicates,
      duplicatedPackets: sequence.duplicatedPackets,
      latePackets: sequence.latePackets,
      reordered: sequence.reordered,
      reorderExtentSum: sequence.reorderExtentSum,
      reorderExtentMax: sequence.reorderExtentMax,
      reorderLateMaxNs: sequence.reorderLateMaxNs,
      lost: sequence.lost,
      hostDrops: this.#seesHostDrops ? this.#hostDrops : null,
      hostLost: this.#seesHostDrops ? sequence.hostLost : null,
      lossPeriods: sequence.lossPeriods,
      longestLossPeriod: sequence.longestLossPeriod,
      longestGap: sequence.takeLongestGap(),
      spans: sequence.takeSpans(lastArrivalNs),
      spansOmitted: 0,
      jitterNs: isEmpty ? null : toTenth(this.#jitter.value),
      jitterMaxNs: isEmpty ? null : toTenth(this.#jitter.takeMax()),
      pdvNs: this.#pdv.take(),
      delayFactorMaxNs: this.#media.takeDelayFactorMax(),
      mediaLossMaxPps: this.#media.takeLossMax(),
      senderRestarts: this.#senderRestarts,
      otherSenderPackets: this.#otherSenderPackets,
    };
    sequence.startInterval();
    this.#isFirst = false;
    this.#hostDrops = 0;
    this.#senderRestarts = 0;
    this.#otherSenderPackets = 0;
    return receipt;
  }
}

/** Finer than any clock that stamps packets, and a number of few digits. */
const toTenth = (ns: number): number => Math.round(ns * 10) / 10;
