import type { Span } from "./stream-receipt.ts";

/**
 * Bursts and gaps of loss (RFC 3611, section 4.7.2, by the definition; the code of its appendix A.2 is an estimator that
 * does not reproduce the worked example). A burst begins and ends with a lost packet, has at least two, and holds no run
 * of `BURST_GAP_MIN` received packets; everything outside bursts is gap, isolated losses included.
 */
const BURST_GAP_MIN = 16;

export interface BurstGapSummary {
  readonly bursts: number;
  readonly gaps: number;
  /** Share lost within bursts, and within gaps; null if there are none. */
  readonly burstDensity: number | null;
  readonly gapDensity: number | null;
  readonly meanBurstPackets: number | null;
  readonly meanGapPackets: number | null;
}

/** A run of sequence numbers with those of them that are lost: ascending, disjoint. */
type Run = Pick<Span, "firstSeq" | "endSeq"> & {
  readonly lost: readonly (readonly [firstSeq: number, count: number, ...rest: unknown[]])[];
};

/** Losses with fewer than `BURST_GAP_MIN` received packets in a row between them; a burst if it has two or more. */
interface Cluster {
  readonly firstSeq: number;
  endSeq: number;
  lost: number;
}

/** @param runs separate runs of sequence numbers: no burst or gap reaches from one into the next */
export function summariseBurstGaps(runs: readonly Run[]): BurstGapSummary {
  let bursts = 0;
  let gaps = 0;
  let burstPackets = 0;
  let burstLost = 0;
  let packets = 0;
  let lost = 0;
  for (const run of runs) {
    if (run.endSeq === run.firstSeq) continue;
    const own = clustersOf(run).filter((cluster) => cluster.lost >= 2);
    const beginsWithBurst = own[0]?.firstSeq === run.firstSeq;
    const endsWithBurst = own.at(-1)?.endSeq === run.endSeq;
    bursts += own.length;
    gaps += own.length + 1 - Number(beginsWithBurst) - Number(endsWithBurst);
    for (const cluster of own) {
      burstPackets += cluster.endSeq - cluster.firstSeq;
      burstLost += cluster.lost;
    }
    packets += run.endSeq - run.firstSeq;
    for (const [, count] of run.lost) lost += count;
  }
  const gapPackets = packets - burstPackets;
  return {
    bursts,
    gaps,
    burstDensity: burstPackets === 0 ? null : burstLost / burstPackets,
    gapDensity: gapPackets === 0 ? null : (lost - burstLost) / gapPackets,
    meanBurstPackets: bursts === 0 ? null : burstPackets / bursts,
    meanGapPackets: gaps === 0 ? null : gapPackets / gaps,
  };
}

function clustersOf({ lost }: Run): Cluster[] {
  const clusters: Cluster[] = [];
  for (const [firstSeq, count] of lost) {
    const open = clusters.at(-1);
    if (open === undefined || firstSeq - open.endSeq >= BURST_GAP_MIN) {
      clusters.push({ firstSeq, endSeq: firstSeq + count, lost: count });
      continue;
    }
    open.endSeq = firstSeq + count;
    open.lost += count;
  }
  return clusters;
}
