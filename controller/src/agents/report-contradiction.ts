import type { AgentMessage, IntervalReport, ListenerInterval } from "@dyetrace/wire";

type ReportMessage = Extract<AgentMessage, { readonly kind: "report" }>;
type Receipt = NonNullable<ListenerInterval["receipt"]>;

/** Longest stretch of time that one report can be about: a run's most is a day, and a soak's spool may merge all of it. */
const LONGEST_NS = 8 * 24 * 3600e9;

/**
 * What a report says of itself that cannot all be true: then nothing it says counts. Figures of one agent against another's
 * are looked at when a run is concluded. @returns one sentence, or null
 */
export function contradictionOf({ firstNumber, lastNumber, report, watch }: ReportMessage): string | null {
  if (lastNumber < firstNumber) return `its numbers run from ${firstNumber} to ${lastNumber}`;
  if (!isStretch(report.fromNs, report.toNs)) return `it lasts from ${report.fromNs} to ${report.toNs} ns`;
  for (const { ranges, frames, asUnicastFrames } of watch?.streams ?? []) {
    if (asUnicastFrames > frames) return "more frames came as unicast than came at all";
    if (ranges.some(([first, last]) => last < first)) return "it saw numbers that run backwards";
  }
  return sendersOf(report) ?? listenersOf(report);
}

const isStretch = (fromNs: number, toNs: number): boolean =>
  Number.isFinite(fromNs) && Number.isFinite(toNs) && toNs >= fromNs && toNs - fromNs <= LONGEST_NS;

function sendersOf({ senders }: IntervalReport): string | null {
  for (const { sentPackets, firstSeq, lastSeq } of senders) {
    if ((firstSeq === null) !== (lastSeq === null)) return "it sent a first packet and no last one, or the reverse";
    if (firstSeq !== null && lastSeq !== null && sentPackets > 0 && lastSeq < firstSeq) {
      return `it sent from number ${firstSeq} to ${lastSeq}`;
    }
    if (sentPackets > 0 && firstSeq === null) return `it sent ${sentPackets} packets without a number`;
  }
  return null;
}

function listenersOf({ listeners, totals }: IntervalReport): string | null {
  for (const { receipt } of [...listeners, ...(totals?.listeners ?? [])]) {
    const wrong = receipt === null ? null : receiptOf(receipt);
    if (wrong !== null) return wrong;
  }
  return null;
}

function receiptOf(receipt: Receipt): string | null {
  const { received, firstCopies, duplicates, lost, hostLost, spans } = receipt;
  if (firstCopies + duplicates > received) {
    return `${firstCopies} packets and ${duplicates} copies make more than the ${received} received`;
  }
  if ((hostLost ?? 0) > lost) return `its host lost ${hostLost} of ${lost} lost packets`;
  let listed = 0;
  for (const { firstSeq, endSeq, lost: ranges, coarse } of spans) {
    if (endSeq < firstSeq) return `it judged numbers from ${firstSeq} to ${endSeq}`;
    let after = firstSeq;
    for (const [first, count] of ranges) {
      if (count === 0 || first < after || first + count > endSeq) return `lost numbers lie outside those it judged`;
      after = first + count;
      listed += count;
    }
    for (const [first, count, , , , of] of coarse) {
      if (of > count || first < firstSeq || first + count > endSeq) return `lost numbers lie outside those it judged`;
      listed += of;
    }
  }
  return listed > lost ? `it lists ${listed} lost packets and counts ${lost}` : null;
}
