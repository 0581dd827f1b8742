import { formatCount, formatRatio, type ReportReceipt } from "@dyetrace/wire";
import { binomialTest, leastBinomialP } from "./binomial-test.ts";
import { type Candidate, MOST_MISSED } from "./comparison.ts";
import type { ReceiptPair } from "./pooled/pair-receipts.ts";
import { normalDeviate } from "./rank-sum-test.ts";
import { differenceInterval, widestOf } from "./ratio-difference.ts";

/** A share of duplicates or of reordered packets that moved by less does not matter (common practice, no source). */
const STEP = 0.001;
/** Of more, the least probable end of the distribution is beyond counting out, and beyond doubt. */
const MOST_COUNTED = 100_000;

const WHAT: readonly { readonly what: string; readonly count: (receipt: ReportReceipt) => number | null }[] = [
  { what: "duplicates", count: (receipt) => receipt.duplicates },
  { what: "reordered", count: (receipt) => receipt.reordered },
];

/** Duplicates and reordered packets at one listener; left out where either run says nothing of them. */
export function compareCopies({ stream, listener, before, after }: ReceiptPair, level: number): readonly Candidate[] {
  return WHAT.flatMap(({ what, count }): Candidate[] => {
    const [old, now] = [shareOf(before, count), shareOf(after, count)];
    if (old === null || now === null) return [];
    const difference = now.hits / now.trials - old.hits / old.trials;
    const interval = differenceInterval(old, now, normalDeviate(level));
    const hits = old.hits + now.hits;
    const exposure = now.trials / (old.trials + now.trials);
    const isBeyondDoubt = hits > MOST_COUNTED;
    return [
      {
        what,
        stream,
        listener,
        places: [],
        before: formatRatio(old.hits / old.trials),
        after: formatRatio(now.hits / now.trials),
        outcome: "cant-tell",
        tested: isBeyondDoubt
          ? { p: Math.abs(difference) >= STEP ? 0 : 1, leastP: 0 }
          : { p: binomialTest(now.hits, hits, exposure), leastP: leastBinomialP(hits, exposure) },
        isGreater: difference > 0,
        isMaterial: Math.abs(difference) >= STEP,
        isWithin: widestOf(interval) < STEP,
        isBarred: false,
        isBounded: interval.high <= MOST_MISSED,
        allows: Math.max(0, interval.high),
        allowsMs: null,
        step: "0.1 percentage points",
        because: `${formatCount(now.hits)} of ${formatCount(now.trials)} packets against ${formatCount(old.hits)} of ${formatCount(old.trials)}`,
      },
    ];
  });
}

function shareOf(receipt: ReportReceipt, count: (receipt: ReportReceipt) => number | null) {
  const hits = count(receipt);
  if (hits === null || receipt.received === null || receipt.received === 0) return null;
  return { hits: Math.min(hits, receipt.received), trials: receipt.received };
}
