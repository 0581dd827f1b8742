import { greatestOf, type IntervalReport, type ListenerInterval } from "@dyetrace/wire";
import type { LiveFigures } from "@dyetrace/wire/console/live-second";
import { isLostAtLeast } from "./told-of-others.ts";

type Receipt = NonNullable<ListenerInterval["receipt"]>;

/** @returns null where no stay has a receipt, or one of them does not know */
export function sumOfStays(
  stays: readonly ListenerInterval[],
  pick: (receipt: Receipt) => number | null,
): number | null {
  const values = stays.flatMap(({ receipt }) => (receipt === null ? [] : [pick(receipt)]));
  return values.length === 0 ? null : values.reduce((a, b) => (a === null || b === null ? null : a + b));
}

/** What the stays of one listener tell together. @returns null where something of it is not known */
export function figuresOf(stays: readonly ListenerInterval[], report: IntervalReport): LiveFigures | null {
  const received = sumOfStays(stays, (receipt) => receipt.received);
  const lost = sumOfStays(stays, (receipt) => receipt.lost);
  const bytes = sumOfStays(stays, (receipt) => receipt.receivedBytes);
  if (received === null || lost === null || bytes === null) return null;
  const latest = stays.findLast(({ receipt }) => receipt !== null)?.receipt;
  const gaps = stays.flatMap(({ receipt }) => receipt?.longestGap?.durationNs ?? []);
  const jitterNs = latest?.jitterNs ?? null;
  return {
    received,
    lost,
    ...(isLostAtLeast(stays) ? { isLostAtLeast: true } : {}),
    hostLost: sumOfStays(stays, (receipt) => receipt.hostLost),
    rateBps: (bytes * 8e9) / (report.toNs - report.fromNs),
    jitterMs: received === 0 || jitterNs === null ? null : jitterNs / 1e6,
    longestGapMs: gaps.length === 0 ? null : greatestOf(gaps) / 1e6,
  };
}
