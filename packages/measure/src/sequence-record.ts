import { type ArrivalRing, WINDOW_PACKETS } from "./arrival-ring.ts";
import { HostDropCredit } from "./host-drop-credit.ts";
import { LostRangeList } from "./lost-range-list.ts";
import { OpenHoles } from "./open-holes.ts";
import type { Span, Stretch } from "./stream-receipt.ts";

/** What an arrival is: in time and the first of its number, a copy of one, or behind the window. */
export const FIRST_COPY = 0;
export const COPY = 1;
export const LATE = 2;
export type Judgement = typeof FIRST_COPY | typeof COPY | typeof LATE;

/**
 * The per-number record of one sender's packets: what is received, reordered, copied, late and lost. Nothing here asks
 * a clock: a missing number is lost once a packet arrives more than the reorder time after the one that showed it missing,
 * or more than `WINDOW_PACKETS` numbers further on. So the outcome depends on the packets alone.
 */
export class SequenceRecord {
  readonly #ring: ArrivalRing;
  readonly #reorderTimeNs: number;
  readonly #holes = new OpenHoles();
  readonly #ranges = new LostRangeList();
  readonly hostDrops: HostDropCredit = new HostDropCredit();

  #senderId = -1;
  #nextSeq = 0;
  #topArrivalNs = 0; // of number #nextSeq - 1
  #arrivals = 0; // first copies so far: the order of arrival

  // Until the first packet is out of the window, a lower number may still arrive and become the first.
  #baseSeq = 0;
  #baseArrivalNs = 0;
  #baseArrival = 0;
  #isBaseFixed = true;
  #spanSeq = 0; // first number not yet in a span

  /** Numbers that the last packet jumped over. */
  missed = 0;
  /** Spans of senders that ended in this interval. */
  #ended: Span[] = [];

  // Of this interval:
  firstCopies = 0;
  duplicates = 0;
  duplicatedPackets = 0;
  latePackets = 0;
  reordered = 0;
  reorderExtentSum = 0;
  reorderExtentMax = 0;
  reorderLateMaxNs = 0;
  lost = 0;
  hostLost = 0;
  lossPeriods = 0;
  longestLossPeriod = 0;
  #gapStartNs = 0;
  #gapNs = -1;

  constructor(ring: ArrivalRing, reorderTimeNs: number) {
    this.#ring = ring;
    this.#reorderTimeNs = reorderTimeNs;
  }

  /** The next packet is a new sender's first; the old one's record ends. */
  startSender(senderId: number, seq: number, arrivalNs: number): void {
    this.end();
    this.#ring.clear();
    this.#senderId = senderId;
    this.#nextSeq = seq;
    this.#baseSeq = seq;
    this.#baseArrivalNs = arrivalNs;
    this.#baseArrival = this.#arrivals + 1;
    this.#isBaseFixed = false;
  }

  /** Hot path. */
  record(seq: number, arrivalNs: number): Judgement {
    this.missed = 0;
    if (!this.#holes.isEmpty) this.#expire(arrivalNs);
    const next = this.#nextSeq;
    if (seq >= next) {
      this.#arrivals += 1;
      if (seq > next) this.#open(seq, arrivalNs);
      this.#nextSeq = seq + 1;
      this.#topArrivalNs = arrivalNs;
    } else if (seq < next - WINDOW_PACKETS) {
      this.latePackets += 1;
      return LATE;
    } else if (this.#ring.has(seq)) {
      this.duplicates += 1;
      if (this.#ring.noteCopy(seq)) this.duplicatedPackets += 1;
      return COPY;
    } else if (!this.#fill(seq, arrivalNs)) {
      this.latePackets += 1;
      return LATE;
    }
    this.firstCopies += 1;
    this.#ring.put(seq);
    return FIRST_COPY;
  }

  /** No more packets of this sender: what is missing is lost. */
  end(): void {
    if (this.#senderId === -1) return;
    while (!this.#holes.isEmpty) this.#loseHead();
    this.#fixBase();
    const span = this.#takeSpan(this.#nextSeq);
    if (span !== null) this.#ended.push(span);
    this.#senderId = -1;
  }

  /** @returns what was judged since the last call */
  takeSpans(lastArrivalNs: number): Span[] {
    const spans = this.#ended;
    this.#ended = [];
    if (this.#senderId !== -1 && (this.#isBaseFixed || !this.#isBaseOpen(lastArrivalNs))) {
      this.#fixBase();
      const span = this.#takeSpan(this.#holes.isEmpty ? this.#nextSeq : this.#holes.firstSeq);
      if (span !== null) spans.push(span);
    }
    return spans;
  }

  /** Begins the counts of the next interval. */
  startInterval(): void {
    this.#ranges.startInterval();
    this.firstCopies = 0;
    this.duplicates = 0;
    this.duplicatedPackets = 0;
    this.latePackets = 0;
    this.reordered = 0;
    this.reorderExtentSum = 0;
    this.reorderExtentMax = 0;
    this.reorderLateMaxNs = 0;
    this.lost = 0;
    this.hostLost = 0;
    this.lossPeriods = 0;
    this.longestLossPeriod = 0;
  }

  takeLongestGap(): Stretch | null {
    if (this.#gapNs < 0) return null;
    const gap = { startNs: this.#gapStartNs, durationNs: this.#gapNs };
    this.#gapNs = -1;
    return gap;
  }

  #open(seq: number, arrivalNs: number): void {
    this.missed = seq - this.#nextSeq;
    const hostLost = this.hostDrops.claim(this.missed, arrivalNs);
    this.#holes.push(this.#nextSeq, this.missed, this.#topArrivalNs, arrivalNs, this.#arrivals, hostLost);
  }

  #expire(arrivalNs: number): void {
    const holes = this.#holes;
    const horizon = this.#nextSeq - WINDOW_PACKETS;
    while (
      !holes.isEmpty &&
      (holes.shownNs + this.#reorderTimeNs < arrivalNs || holes.firstSeq + holes.count <= horizon)
    ) {
      this.#loseHead();
    }
  }

  /** @returns whether `seq` was missing and may still be filled: it is reordered then, not lost */
  #fill(seq: number, arrivalNs: number): boolean {
    const hole = this.#holes.find(seq);
    if (hole >= 0) {
      this.#noteReordered(this.#holes.shownAtOf(hole), arrivalNs - this.#holes.shownNsOf(hole));
      this.#holes.fill(hole, seq);
      return true;
    }
    if (seq >= this.#baseSeq || this.#isBaseFixed || !this.#isBaseOpen(arrivalNs)) return false;
    this.#noteReordered(this.#baseArrival, arrivalNs - this.#baseArrivalNs);
    const between = this.#baseSeq - seq - 1;
    if (between > 0) {
      this.#holes.unshift(seq + 1, between, this.#baseArrivalNs, this.#baseArrivalNs, this.#baseArrival);
    }
    this.#baseSeq = seq;
    return true;
  }

  /**
   * RFC 4737: extent = own place in the order of arrival less that of the earliest arrival with a higher number. That
   * is the packet that showed the number missing: all before it had lower numbers.
   */
  #noteReordered(shownAt: number, lateNs: number): void {
    this.#arrivals += 1;
    const extent = this.#arrivals - shownAt;
    this.reordered += 1;
    this.reorderExtentSum += extent;
    if (extent > this.reorderExtentMax) this.reorderExtentMax = extent;
    if (lateNs > this.reorderLateMaxNs) this.reorderLateMaxNs = lateNs;
  }

  #loseHead(): void {
    this.#fixBase();
    const { firstSeq, count, startNs, shownNs } = this.#holes;
    const hostLost = Math.min(this.#holes.hostLost, count);
    const durationNs = Math.max(0, shownNs - startNs);
    this.#holes.shift();
    this.lost += count;
    this.hostLost += hostLost;
    this.lossPeriods += 1; // a hole ends at a received number, so no two holes are one period
    if (count > this.longestLossPeriod) this.longestLossPeriod = count;
    if (durationNs > this.#gapNs) {
      this.#gapNs = durationNs;
      this.#gapStartNs = startNs;
    }
    this.#ranges.push(firstSeq, count, startNs, durationNs, hostLost);
  }

  #isBaseOpen(arrivalNs: number): boolean {
    return arrivalNs <= this.#baseArrivalNs + this.#reorderTimeNs && this.#baseSeq >= this.#nextSeq - WINDOW_PACKETS;
  }

  #fixBase(): void {
    if (this.#isBaseFixed) return;
    this.#isBaseFixed = true;
    this.#spanSeq = this.#baseSeq;
  }

  #takeSpan(endSeq: number): Span | null {
    if (endSeq === this.#spanSeq) return null;
    const span = {
      senderId: this.#senderId,
      firstSeq: this.#spanSeq,
      endSeq,
      ...this.#ranges.take(),
    };
    this.#spanSeq = endSeq;
    return span;
  }
}
