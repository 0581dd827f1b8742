import { lossPattern, type StreamReceipt, summariseBurstGaps, summariseReceipt } from "@dyetrace/measure";
import type { ReportLossPattern, ReportReceipt } from "@dyetrace/wire";
import type { StayNumbers } from "../account/stay-numbers.ts";

type Details = Pick<
  ReportReceipt,
  | "delayVariation"
  | "jitterMaxMs"
  | "reordering"
  | "duplicatedPackets"
  | "latePackets"
  | "lossPattern"
  | "delayFactorMaxMs"
  | "mediaLossMaxPps"
  | "otherSenderPackets"
  | "senderRestarts"
>;

/**
 * What a receipt says beyond what came and what did not.
 * @param receipt of all stays @param numbers of each stay, which the pattern of the losses is read from
 */
export function receiptDetails(receipt: StreamReceipt, numbers: readonly StayNumbers[]): Details {
  const { pdv, jitterMaxMs, delayFactorMaxMs, mediaLossMaxPps, ...summary } = summariseReceipt(receipt);
  const { reorderedRatio, reorderExtentMean, reorderExtentMax, reorderLateMaxMs } = summary;
  const isReordered = reorderedRatio !== null && reorderExtentMean !== null && reorderExtentMax !== null;
  return {
    delayVariation:
      pdv === null
        ? null
        : { meanMs: pdv.meanMs, medianMs: pdv.p50Ms, p99Ms: pdv.p99Ms, p999Ms: pdv.p999Ms, maxMs: pdv.maxMs },
    jitterMaxMs,
    reordering:
      isReordered && reorderLateMaxMs !== null
        ? {
            ratio: reorderedRatio,
            meanExtent: reorderExtentMean,
            maxExtent: reorderExtentMax,
            maxLateMs: reorderLateMaxMs,
          }
        : null,
    duplicatedPackets: receipt.duplicatedPackets,
    latePackets: receipt.latePackets,
    lossPattern: patternOf(receipt, numbers),
    delayFactorMaxMs,
    mediaLossMaxPps,
    otherSenderPackets: receipt.otherSenderPackets,
    senderRestarts: receipt.senderRestarts,
  };
}

/** @returns null where nobody can say what should have come */
function patternOf(receipt: StreamReceipt, numbers: readonly StayNumbers[]): ReportLossPattern | null {
  const runs = numbers.map(({ window, unknown, missing }) => {
    if (window === null || unknown.length > 0) return null;
    const lost = missing.map(({ firstSeq, count }): [number, number] => [firstSeq, count]);
    return { firstSeq: window[0], endSeq: window[1] + 1, lost };
  });
  const known = runs.filter((run) => run !== null);
  if (known.length < runs.length) return null;
  if (numbers.some(({ missing }) => missing.some(({ isOne }) => !isOne))) {
    return { ...NOT_ONE_BY_ONE, periods: receipt.lossPeriods, longestPeriod: receipt.longestLossPeriod };
  }
  const { periods, longestPeriod, medianDistance, noticeableRatio } = lossPattern(known.map(({ lost }) => lost));
  const { bursts, burstDensity, gapDensity, meanBurstPackets, meanGapPackets } = summariseBurstGaps(known);
  const atStart = known.map(({ firstSeq, lost: [first] }) =>
    first !== undefined && first[0] === firstSeq ? first[1] : 0,
  );
  const atEnd = known.map(({ endSeq, lost }) => {
    const last = lost.at(-1);
    return last !== undefined && last[0] + last[1] === endSeq ? last[1] : 0;
  });
  return {
    periods,
    longestPeriod,
    medianDistance,
    noticeableRatio,
    beforeFirst: sum(atStart),
    afterLast: sum(atEnd),
    bursts,
    meanBurstPackets,
    burstLossRatio: burstDensity,
    meanGapPackets,
    gapLossRatio: gapDensity,
  };
}

/** The listener has counted its loss periods, however many they were. */
const NOT_ONE_BY_ONE = {
  medianDistance: null,
  noticeableRatio: null,
  beforeFirst: null,
  afterLast: null,
  bursts: null,
  meanBurstPackets: null,
  burstLossRatio: null,
  meanGapPackets: null,
  gapLossRatio: null,
};

const sum = (counts: readonly number[]): number => counts.reduce((all, count) => all + count, 0);
