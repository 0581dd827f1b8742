import { formatCount, formatRatio, type ReportReceipt } from "@dyetrace/wire";
import { binomialTest, leastBinomialP } from "./binomial-test.ts";
import { type Candidate, MOST_MISSED } from "./comparison.ts";
import type { ReceiptPair } from "./pooled/pair-receipts.ts";
import { normalDeviate } from "./rank-sum-test.ts";
import { differenceInterval, widestOf } from "./ratio-difference.ts";

/** A loss ratio that moved by less does not matter (a twentieth of a per cent; common practice, no source). */
export const LOSS_STEP = 0.0005;

/**
 * Whoever gets half of a stream less than before has lost it. That is no matter of chance, however few loss periods it
 * took: a listener that falls silent for good has one of them (common practice, no source).
 */
const OUTAGE = 0.5;

/**
 * Loss of one stream at one listener. Packets are lost in bursts, so what is counted and tested are the bursts (loss
 * periods, RFC 3357): one of thirty packets is one event, not thirty.
 */
export function compareLoss({ stream, listener, before, after }: ReceiptPair, level: number): Candidate {
  const base = { what: "loss", stream, listener, places: [], step: "0.05 percentage points" };
  const [old, now] = [countLoss(before), countLoss(after)];
  const words = { before: lossWords(before), after: lossWords(after) };
  if (old === null || now === null) {
    const which = old === null ? (now === null ? "neither run" : "the earlier run") : "the later run";
    return {
      ...base,
      ...words,
      ...UNDECIDED,
      isBarred: old === null,
      because: `${which === "neither run" ? "neither run says" : `${which} does not say`} how much was lost`,
    };
  }
  const difference = now.lost / now.sent - old.lost / old.sent;
  const because = `lost ${sayLoss(now)}, before ${sayLoss(old)}`;
  if (Math.abs(difference) >= OUTAGE) {
    const outcome = difference > 0 ? "worse" : "better";
    return { ...base, ...words, ...UNDECIDED, outcome, isMaterial: true, because };
  }
  const burst = Math.max(1, (old.lost + now.lost) / Math.max(1, old.events + now.events));
  const share = ({ lost, sent }: Loss) => ({ hits: lost / burst, trials: sent / burst });
  const events = old.events + now.events;
  const exposure = now.sent / (old.sent + now.sent);
  const interval = differenceInterval(share(old), share(now), normalDeviate(level));
  return {
    ...base,
    ...words,
    outcome: "cant-tell",
    tested: { p: binomialTest(now.events, events, exposure), leastP: leastBinomialP(events, exposure) },
    isGreater: difference > 0,
    isMaterial: Math.abs(difference) >= LOSS_STEP,
    isWithin: widestOf(interval) < LOSS_STEP,
    allowsMs: null,
    isBounded: interval.high <= MOST_MISSED,
    isBarred: false,
    allows: Math.max(0, interval.high),
    because,
  };
}

/** For candidates that stand as they are. */
export const UNDECIDED = {
  outcome: "cant-tell",
  tested: null,
  isGreater: false,
  isMaterial: false,
  isWithin: false,
  isBounded: false,
  isBarred: false,
  allows: null,
  allowsMs: null,
} as const;

/** What one listener lost of what was sent to it. */
export interface Loss {
  readonly sent: number;
  readonly lost: number;
  /** Loss periods; such as overlap in time, of several streams, are one. */
  readonly events: number;
}

/** @returns null where it is not known */
export function countLoss({ sent, lost, gaps }: ReportReceipt): Loss | null {
  if (sent === null || lost === null || sent === 0) return null;
  // A receipt lists its longest gaps alone if it has many: of the others none is longer than the shortest listed.
  const shortest = gaps.reduce((least, { count }) => Math.min(least, count), Number.POSITIVE_INFINITY);
  const unlisted = Math.max(0, lost - gaps.reduce((sum, { count }) => sum + count, 0));
  const events = gaps.length === 0 ? lost : Math.min(lost, countPeriods(gaps) + Math.ceil(unlisted / shortest));
  return { sent, lost, events };
}

/** What takes packets of several streams at once is one thing that happened. */
function countPeriods(gaps: ReportReceipt["gaps"]): number {
  const timed = gaps.flatMap(({ startMs, durationMs }) =>
    startMs === null ? [] : { startMs, endMs: startMs + (durationMs ?? 0) },
  );
  timed.sort((a, b) => a.startMs - b.startMs);
  let [periods, endMs] = [gaps.length - timed.length, Number.NEGATIVE_INFINITY];
  for (const gap of timed) {
    if (gap.startMs >= endMs) periods += 1;
    endMs = Math.max(endMs, gap.endMs);
  }
  return periods;
}

const sayLoss = ({ sent, lost, events }: Loss): string =>
  lost === 0
    ? `none of ${formatCount(sent)} packets`
    : `${formatCount(lost)} of ${formatCount(sent)} packets in ${events === 1 ? "one loss period" : `${events} loss periods`}`;

const lossWords = ({ lossRatio, lost }: ReportReceipt): string =>
  lossRatio === null ? "unknown" : `${formatRatio(lossRatio)} (${lost ?? "?"} lost)`;
