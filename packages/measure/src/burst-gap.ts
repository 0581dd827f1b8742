/**
 * Bursts and gaps of loss (RFC 3611, section 4.7.2, by the definition; the code of its appendix A.2 is an estimator that
 * does not reproduce the worked example). A burst begins and ends with a lost packet, has at least two, and holds no run
 * of `BURST_GAP_MIN` received packets; everything outside bursts is gap, isolated losses included.
 *
 * A `BurstGap` describes one run of sequence numbers so that two runs that follow each other can be joined without
 * looking at the packets again: the clusters of loss at both ends stay open, those between are settled.
 */
export const BURST_GAP_MIN = 16;

/** A cluster of losses with fewer than `BURST_GAP_MIN` received packets in a row within it: length, lost packets. */
export type Cluster = readonly [packets: number, lost: number];

export interface BurstGap {
  /** Sequence numbers described, and how many of them are lost. */
  readonly expected: number;
  readonly lost: number;
  /** Received packets before the first loss, and after the last; both are `expected` if nothing is lost. */
  readonly lead: number;
  readonly tail: number;
  /** First cluster; null if nothing is lost. */
  readonly first: Cluster | null;
  /** Last cluster; null if there is no second one. */
  readonly last: Cluster | null;
  /** Bursts among the clusters between. */
  readonly bursts: number;
  readonly burstPackets: number;
  readonly burstLost: number;
}

/** `good` received packets, then `lost` lost ones. */
export const burstGapOf = (good: number, lost: number): BurstGap => ({
  expected: good + lost,
  lost,
  lead: good,
  tail: lost === 0 ? good : 0,
  first: lost === 0 ? null : [lost, lost],
  last: null,
  bursts: 0,
  burstPackets: 0,
  burstLost: 0,
});

/** `a` followed at once by `b`. Associative, so any cutting of a run gives the same. */
export function joinBurstGaps(a: BurstGap, b: BurstGap): BurstGap {
  const expected = a.expected + b.expected;
  if (a.first === null)
    return {
      ...b,
      expected,
      lead: a.expected + b.lead,
      tail: b.first ? b.tail : expected,
    };
  if (b.first === null) return { ...a, expected, tail: a.tail + b.expected };
  const good = a.tail + b.lead;
  const settled: Cluster[] = [];
  let first: Cluster = a.first;
  let last: Cluster | null = b.last;
  if (good < BURST_GAP_MIN) {
    const before = a.last ?? a.first;
    const joined: Cluster = [before[0] + good + b.first[0], before[1] + b.first[1]];
    if (a.last === null) first = joined;
    else if (b.last === null) last = joined;
    else settled.push(joined);
  } else {
    if (a.last !== null) settled.push(a.last);
    if (b.last !== null) settled.push(b.first);
    else last = b.first;
  }
  const bursts = settled.filter(isBurst);
  return {
    expected,
    lost: a.lost + b.lost,
    lead: a.lead,
    tail: b.tail,
    first,
    last,
    bursts: a.bursts + b.bursts + bursts.length,
    burstPackets: a.burstPackets + b.burstPackets + bursts.reduce((sum, [packets]) => sum + packets, 0),
    burstLost: a.burstLost + b.burstLost + bursts.reduce((sum, [, lost]) => sum + lost, 0),
  };
}

const isBurst = (cluster: Cluster): boolean => cluster[1] >= 2;

export interface BurstGapSummary {
  readonly bursts: number;
  readonly gaps: number;
  /** Share lost within bursts, and within gaps; null if there are none. */
  readonly burstDensity: number | null;
  readonly gapDensity: number | null;
  readonly meanBurstPackets: number | null;
  readonly meanGapPackets: number | null;
}

/** @param runs separate runs of sequence numbers: no burst or gap reaches from one into the next */
export function summariseBurstGaps(runs: readonly BurstGap[]): BurstGapSummary {
  let bursts = 0;
  let gaps = 0;
  let burstPackets = 0;
  let burstLost = 0;
  let expected = 0;
  let lost = 0;
  for (const run of runs) {
    const ends = [run.first, run.last].filter((cluster) => cluster !== null).filter(isBurst);
    const runBursts = run.bursts + ends.length;
    const beginsWithBurst = run.lead === 0 && run.first !== null && isBurst(run.first);
    const final = run.last ?? run.first;
    const endsWithBurst = run.tail === 0 && final !== null && isBurst(final);
    bursts += runBursts;
    gaps += run.expected === 0 ? 0 : runBursts + 1 - Number(beginsWithBurst) - Number(endsWithBurst);
    burstPackets += run.burstPackets + ends.reduce((sum, [packets]) => sum + packets, 0);
    burstLost += run.burstLost + ends.reduce((sum, [, count]) => sum + count, 0);
    expected += run.expected;
    lost += run.lost;
  }
  const gapPackets = expected - burstPackets;
  return {
    bursts,
    gaps,
    burstDensity: burstPackets === 0 ? null : burstLost / burstPackets,
    gapDensity: gapPackets === 0 ? null : (lost - burstLost) / gapPackets,
    meanBurstPackets: bursts === 0 ? null : burstPackets / bursts,
    meanGapPackets: gaps === 0 ? null : gapPackets / gaps,
  };
}

/** A share as RFC 3611's 8-bit fixed point number: the integer part of 256 times it, 255 at most. */
export const rfc3611Byte = (ratio: number): number => Math.min(255, Math.floor(256 * ratio));

/** Builds the `BurstGap` of a run of numbers from its lost ranges, without an object for each. */
export class BurstGapBuilder {
  #startSeq = 0;
  #lost = 0;
  #lead = 0;
  #lostEndSeq = 0; // past the last lost number
  #clusters = 0;
  #clusterSeq = 0; // where the open cluster begins
  #clusterLost = 0;
  #firstPackets = 0;
  #firstLost = 0;
  #bursts = 0;
  #burstPackets = 0;
  #burstLost = 0;

  /** @param startSeq first number of the run */
  start(startSeq: number): void {
    this.#startSeq = startSeq;
    this.#lost = 0;
    this.#clusters = 0;
    this.#clusterLost = 0;
    this.#bursts = 0;
    this.#burstPackets = 0;
    this.#burstLost = 0;
  }

  /** Ranges come in ascending order. */
  addLost(firstSeq: number, count: number): void {
    if (this.#clusters === 0) {
      this.#lead = firstSeq - this.#startSeq;
      this.#clusters = 1;
      this.#clusterSeq = firstSeq;
    } else if (firstSeq - this.#lostEndSeq >= BURST_GAP_MIN) {
      this.#settle();
      this.#clusters += 1;
      this.#clusterSeq = firstSeq;
      this.#clusterLost = 0;
    }
    this.#lost += count;
    this.#clusterLost += count;
    this.#lostEndSeq = firstSeq + count;
  }

  /** @returns the run up to `endSeq`, which the next run begins with */
  take(endSeq: number): BurstGap {
    const open: Cluster = [this.#lostEndSeq - this.#clusterSeq, this.#clusterLost];
    const run: BurstGap =
      this.#clusters === 0
        ? burstGapOf(endSeq - this.#startSeq, 0)
        : {
            expected: endSeq - this.#startSeq,
            lost: this.#lost,
            lead: this.#lead,
            tail: endSeq - this.#lostEndSeq,
            first: this.#clusters === 1 ? open : [this.#firstPackets, this.#firstLost],
            last: this.#clusters === 1 ? null : open,
            bursts: this.#bursts,
            burstPackets: this.#burstPackets,
            burstLost: this.#burstLost,
          };
    this.start(endSeq);
    return run;
  }

  #settle(): void {
    const packets = this.#lostEndSeq - this.#clusterSeq;
    if (this.#clusters === 1) {
      this.#firstPackets = packets;
      this.#firstLost = this.#clusterLost;
    } else if (this.#clusterLost >= 2) {
      this.#bursts += 1;
      this.#burstPackets += packets;
      this.#burstLost += this.#clusterLost;
    }
  }
}
