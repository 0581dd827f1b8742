import { formatRatio, type ReportSegment, type RunReport } from "@dyetrace/wire";
import { LOSS_STEP } from "./compare-loss.ts";
import { type Candidate, MOST_MISSED } from "./comparison.ts";
import { twoSidedNormalP } from "./rank-sum-test.ts";

/** Loss of each segment that both runs could put a figure to. */
export function compareSegments(before: RunReport, after: RunReport): readonly Candidate[] {
  return after.segments.flatMap((now): Candidate[] => {
    const old = before.segments.find((segment) => segment.id === now.id);
    const [was, is] = [old === undefined ? null : estimateOf(old), estimateOf(now)];
    if (was === null || is === null) return [];
    const difference = is.ratio - was.ratio;
    const error = Math.hypot(difference > 0 ? is.below : is.above, difference > 0 ? was.above : was.below);
    const p = difference === 0 ? 1 : error === 0 ? 0 : twoSidedNormalP(difference / error);
    const widest = Math.max(is.high - was.low, was.high - is.low);
    return [
      {
        what: "segment loss",
        stream: null,
        listener: null,
        places: [now.id],
        before: words(was),
        after: words(is),
        outcome: "cant-tell",
        tested: { p, leastP: 0 },
        isGreater: difference > 0,
        isMaterial: Math.abs(difference) >= LOSS_STEP,
        isWithin: widest < LOSS_STEP,
        isBarred: false,
        isBounded: is.high - was.low <= MOST_MISSED,
        allows: Math.max(0, is.high - was.low),
        allowsMs: null,
        step: "0.05 percentage points",
        because: `${now.id} lost ${formatRatio(is.ratio)}, before ${formatRatio(was.ratio)}`,
      },
    ];
  });
}

interface Estimate {
  readonly ratio: number;
  readonly low: number;
  readonly high: number;
  /** Standard errors downwards and upwards: an interval near 0 is lopsided. */
  readonly below: number;
  readonly above: number;
}

/** Half a 95 % interval in standard errors. */
const HALF = 1.96;

function estimateOf({ lossRatio, low, high }: ReportSegment): Estimate | null {
  if (lossRatio === null || low === null || high === null) return null;
  return { ratio: lossRatio, low, high, below: (lossRatio - low) / HALF, above: (high - lossRatio) / HALF };
}

const words = ({ ratio, low, high }: Estimate): string =>
  `${formatRatio(ratio)} (${formatRatio(low)} to ${formatRatio(high)})`;
