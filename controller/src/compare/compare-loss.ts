import { formatRatio, type ReportReceipt } from "@dyetrace/wire";
import { binomialTest, leastBinomialP } from "./binomial-test.ts";
import type { Candidate } from "./comparison.ts";
import type { ReceiptPair } from "./pair-receipts.ts";
import { differenceInterval } from "./ratio-difference.ts";

/** A loss ratio that moved by less does not matter (a twentieth of a per cent; common practice, no source). */
export const LOSS_STEP = 0.0005;

/**
 * Loss of one stream at one listener. Packets are lost in bursts, so what is counted and tested are the bursts (loss
 * periods, RFC 3357): one of thirty packets is one event, not thirty.
 */
export function compareLoss({ stream, listener, before, after }: ReceiptPair): Candidate {
  const base = { what: "loss", stream, listener, places: [], step: "0.05 percentage points" };
  const [old, now] = [countLoss(before), countLoss(after)];
  const words = { before: lossWords(before), after: lossWords(after) };
  if (old === null || now === null) {
    const which = old === null ? (now === null ? "neither run" : "the earlier run") : "the later run";
    return {
      ...base,
      ...words,
      ...UNDECIDED,
      because: `${which === "neither run" ? "neither run says" : `${which} does not say`} how much was lost`,
    };
  }
  const burst = Math.max(1, (old.lost + now.lost) / Math.max(1, old.events + now.events));
  const share = ({ lost, sent }: Loss) => ({ hits: lost / burst, trials: sent / burst });
  const events = old.events + now.events;
  const exposure = now.sent / (old.sent + now.sent);
  const interval = differenceInterval(share(old), share(now));
  const difference = now.lost / now.sent - old.lost / old.sent;
  return {
    ...base,
    ...words,
    outcome: "cant-tell",
    tested: { p: binomialTest(now.events, events, exposure), leastP: leastBinomialP(events, exposure) },
    isGreater: difference > 0,
    isMaterial: Math.abs(difference) >= LOSS_STEP,
    isWithin: Math.max(Math.abs(interval.low), Math.abs(interval.high)) < LOSS_STEP,
    because: `${now.events} losses in ${now.sent} packets against ${old.events} in ${old.sent}`,
  };
}

/** For candidates that stand as they are. */
export const UNDECIDED = {
  outcome: "cant-tell",
  tested: null,
  isGreater: false,
  isMaterial: false,
  isWithin: false,
} as const;

interface Loss {
  readonly sent: number;
  readonly lost: number;
  /** Loss periods. A listener that got nothing lost every packet on its own: there was no gap between two arrivals. */
  readonly events: number;
}

/** @returns null where it is not known */
function countLoss({ sent, lost, gaps }: ReportReceipt): Loss | null {
  if (sent === null || lost === null || sent === 0) return null;
  return { sent, lost, events: gaps.length > 0 ? Math.min(gaps.length, lost) : lost };
}

const lossWords = ({ lossRatio, lost }: ReportReceipt): string =>
  lossRatio === null ? "unknown" : `${formatRatio(lossRatio)} (${lost ?? "?"} lost)`;
