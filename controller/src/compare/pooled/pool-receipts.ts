import type { ReportDelay, ReportReceipt } from "@dyetrace/wire";

/** A receipt among others of the same listener, and what its numbers and times are put off by, so that none meets another's. */
export interface Pooled {
  readonly receipt: ReportReceipt;
  readonly fromSeq: number;
  readonly fromMs: number;
}

/** More packets than any stream of a run has: numbers go to 2^32. */
export const SEQ_ROOM: number = 2 ** 33;
/** Longer than any run lasts: ten days. */
export const TIME_ROOM_MS = 864e6;

/**
 * What one listener got in all, of several streams or in several runs. A figure that one of them does not know is unknown.
 * What is no sum, such as jitter, is the median; what has no middle is left out.
 */
export function poolReceipts(parts: readonly Pooled[]): ReportReceipt {
  const [first] = parts;
  if (first === undefined) throw new RangeError("There is nothing to put together");
  if (parts.length === 1) return first.receipt;
  const receipts = parts.map(({ receipt }) => receipt);
  const sum = (of: (receipt: ReportReceipt) => number | null | undefined): number | null =>
    receipts.reduce<number | null>((total, one) => {
      const value = of(one) ?? null;
      return total === null || value === null ? null : total + value;
    }, 0);
  const [sent, lost] = [sum((one) => one.sent), sum((one) => one.lost)];
  const joinDelays = poolDelays(receipts.flatMap((one) => one.joinDelays ?? []));
  const leaveDelays = poolDelays(receipts.flatMap((one) => one.leaveDelays ?? []));
  const opens = receipts.flatMap((one) => one.leavesWithoutEffect ?? []);
  return {
    ...first.receipt,
    sent,
    lost,
    lossRatio: sent === null || lost === null || sent === 0 ? null : lost / sent,
    stays: receipts.reduce((total, { stays }) => total + stays, 0),
    received: sum((one) => one.received),
    hostLost: sum((one) => one.hostLost),
    duplicates: sum((one) => one.duplicates),
    reordered: sum((one) => one.reordered),
    gaps: parts.flatMap(({ receipt, fromSeq, fromMs }) =>
      receipt.gaps.map((gap) => ({
        ...gap,
        firstSeq: gap.firstSeq + fromSeq,
        startMs: gap.startMs === null ? null : gap.startMs + fromMs,
      })),
    ),
    jitterMs: middle(receipts.flatMap((one) => one.jitterMs ?? [])),
    joinDelays,
    leaveDelays,
    joinDelayMs: joinDelays?.medianMs ?? null,
    leaveDelayMs: leaveDelays?.medianMs ?? null,
    leavesWithoutEffect: opens.length === 0 ? null : opens.reduce((total, one) => total + one, 0),
  };
}

function poolDelays(delays: readonly ReportDelay[]): ReportDelay | null {
  if (delays.length === 0) return null;
  const valuesMs = delays.flatMap((one) => one.valuesMs);
  const sorted = valuesMs.toSorted((a, b) => a - b);
  return {
    trials: delays.reduce((total, { trials }) => total + trials, 0),
    minMs: Math.min(...delays.map(({ minMs }) => minMs)),
    medianMs: middle(valuesMs) ?? 0,
    p95Ms: sorted[Math.ceil(0.95 * sorted.length) - 1] ?? 0,
    maxMs: Math.max(...delays.map(({ maxMs }) => maxMs)),
    resolutionMs: Math.max(...delays.map(({ resolutionMs }) => resolutionMs)),
    valuesMs,
  };
}

function middle(values: readonly number[]): number | null {
  const sorted = values.toSorted((a, b) => a - b);
  const [low, high] = [sorted[(sorted.length - 1) >> 1], sorted[sorted.length >> 1]];
  return low === undefined || high === undefined ? null : (low + high) / 2;
}
