import { formatCount, formatDurationNs, greatestOf, type ReportStream } from "@dyetrace/wire";
import type { Change } from "./changes.ts";
import { LOSS_STEP } from "./compare-loss.ts";
import { type Comparison, type Outcome, points } from "./comparison.ts";
import { normalDeviate } from "./rank-sum-test.ts";
import { trialsToExclude } from "./ratio-difference.ts";

export interface Summary {
  readonly outcome: Outcome;
  /** One or two sentences. */
  readonly reason: string;
  /** The least rise that would have been seen, in one sentence; empty where nothing bounds any. */
  readonly excluded: string;
  /** It can't tell, and no further later run would decide it: the earlier one did not measure what it takes. */
  readonly isBarred: boolean;
}

/** What was compared, and with what it is summed up. */
export interface ToSummarise {
  readonly comparisons: readonly Comparison[];
  readonly changes: readonly Change[];
  /** Of other scenarios that were compared with this one: what they decide need not be decided again. */
  readonly beside: readonly Comparison[];
  readonly streams: readonly ReportStream[];
  readonly level: number;
}

export function summariseComparisons(all: ToSummarise): Summary {
  const excluded = sayExcluded(all);
  const verdict = judge(all);
  const isSaid = verdict.outcome === "same" && excluded !== "";
  return { ...verdict, reason: isSaid ? `${verdict.reason} ${excluded}` : verdict.reason, excluded };
}

function judge({ comparisons, changes, beside }: ToSummarise): Omit<Summary, "excluded"> {
  const [worse, better] = ["worse", "better"].map((outcome) => changes.filter((change) => change.outcome === outcome));
  if (worse !== undefined && worse.length > 0)
    return { outcome: "worse", isBarred: false, reason: `Worse: ${worse.map(tell).join("; ")}.` };
  if (comparisons.length === 0) {
    return { outcome: "cant-tell", isBarred: false, reason: "The two runs have nothing in common to compare." };
  }
  const open = openComparisons(comparisons, beside);
  const [first] = open;
  if (first !== undefined) {
    const where = [first.stream, first.listener].flatMap((name) => name ?? []).join(" at ");
    return {
      outcome: "cant-tell",
      isBarred: open.every(({ isBarred }) => isBarred),
      reason: `Of ${comparisons.length} comparisons ${open.length} can't be decided, first ${first.what} ${where}: ${first.because}.`,
    };
  }
  if (better !== undefined && better.length > 0) {
    return { outcome: "better", isBarred: false, reason: `Nothing is worse. Better: ${better.map(tell).join("; ")}.` };
  }
  const undecided = comparisons.filter(({ outcome }) => outcome === "cant-tell").length;
  const decided = comparisons.length - undecided;
  const rest = undecided === 0 ? "" : "; the others measured too little to show a small difference";
  return {
    outcome: "same",
    isBarred: false,
    reason: `${decided} of ${comparisons.length} comparisons say that nothing changed${rest}.`,
  };
}

const tell = ({ what, stream, places }: Change): string =>
  `${stream === null ? "" : `${stream}: `}${what}${places.length === 0 ? "" : ` at ${places.slice(0, 3).join(", ")}`}`;

/** What neither it nor another comparison of the same thing could decide. */
function openComparisons(comparisons: readonly Comparison[], beside: readonly Comparison[]): readonly Comparison[] {
  const isSame = ({ outcome }: Comparison): boolean => outcome === "same";
  const sums = [...comparisons, ...beside].filter((one) => isSame(one) && isSum(one));
  const besideAt = (one: Comparison): boolean =>
    beside.some((other) => isSame(other) && other.what === one.what && other.listener === one.listener);
  const isKnownOf = ({ what }: Comparison): boolean =>
    [...comparisons, ...beside].some((other) => other.what === what && other.outcome !== "cant-tell");
  return comparisons.filter((one) => {
    if (one.outcome !== "cant-tell") return false;
    if (one.p === null) return true;
    // Too few to see a small difference is no doubt, as long as another comparison of the same thing could have seen it.
    if (!one.isMaterial) return !isKnownOf(one);
    // A part that differs no more than by chance, of a whole that does not.
    return !besideAt(one) && !sums.some((sum) => isPartOf(one, sum));
  });
}

/** All streams of a listener, or all listeners of a stream. */
const isSum = ({ stream, listener, places }: Comparison): boolean =>
  places.length === 0 && (stream === null) !== (listener === null);

const isPartOf = (part: Comparison, sum: Comparison): boolean =>
  part !== sum &&
  part.what === sum.what &&
  (sum.listener === null ? part.stream === sum.stream && part.listener !== null : part.listener === sum.listener);

const DELAYS = ["join delay", "leave delay"];

/** Of what several scenarios measured at a listener, what bounds it most. */
function surest(comparisons: readonly Comparison[]): readonly Comparison[] {
  const best = new Map<string, Comparison>();
  for (const one of comparisons) {
    const key = `${one.what} ${one.listener}`;
    if (one.listener !== null && (one.allowsMs ?? Infinity) <= (best.get(key)?.allowsMs ?? Infinity))
      best.set(key, one);
  }
  return [...best.values()];
}

/** What a rise would have had to be to be seen, and what would show a smaller one. */
function sayExcluded({ comparisons, beside, streams, level }: ToSummarise): string {
  const sums = new Set(
    comparisons.flatMap((one) => (one.what === "loss" && one.stream === null ? (one.listener ?? []) : [])),
  );
  const losses = comparisons.flatMap(({ what, stream, listener, allows }) =>
    what === "loss" && allows !== null && listener !== null && (stream === null || !sums.has(listener))
      ? [{ listener, stream, allows }]
      : [],
  );
  const widest = greatestOf(losses.map(({ allows }) => allows));
  const least = losses.find(({ allows }) => allows === widest);
  const hasDelays = comparisons.some(({ what }) => DELAYS.includes(what));
  const delays = DELAYS.flatMap((what) => (hasDelays ? sayDelay(what, comparisons) : sayDelay(what, surest(beside))));
  if (least === undefined) return delays.length === 0 ? "" : `Excluded is a rise ${delays.join(", ")}.`;
  const loss = `of loss of ${points(Math.max(widest, LOSS_STEP))} or more at every listener`;
  const excluded = `Excluded is a rise ${[loss, ...delays].join(", ")}`;
  if (widest <= LOSS_STEP) return `${excluded}.`;
  const needed = trialsToExclude(LOSS_STEP, normalDeviate(level));
  const perSecond = packetsPerSecond(streams.filter(({ name }) => least.stream === null || name === least.stream));
  const lasts =
    perSecond === null ? "" : `, which is ${formatDurationNs(Math.ceil(needed / perSecond) * 1e9)} at this rate`;
  return `${excluded}; one of loss of ${points(LOSS_STEP)} needs about ${formatCount(needed)} packets at each in each run${lasts}.`;
}

/** Over all listeners together where one alone bounds nothing. */
function sayDelay(what: string, comparisons: readonly Comparison[]): string[] {
  const own = comparisons.filter((one) => one.what === what && one.places.length === 0);
  const single = own.filter(({ listener }) => listener !== null);
  const bounds = (some: readonly Comparison[]): readonly number[] => some.flatMap(({ allowsMs }) => allowsMs ?? []);
  const atEach = bounds(single);
  if (atEach.length > 0 && atEach.length === single.length) return [`of ${what} of ${ms(greatestOf(atEach))} at each`];
  const together = bounds(own.filter(({ listener }) => listener === null));
  return together.length === 0 ? [] : [`of ${what} of ${ms(greatestOf(together))} over all`];
}

const ms = (value: number): string => formatDurationNs(value * 1e6);

function packetsPerSecond(streams: readonly ReportStream[]): number | null {
  const rates = streams.flatMap(({ sentRateBps, payloadBytes }) =>
    sentRateBps === null ? [] : sentRateBps / 8 / payloadBytes,
  );
  const sum = rates.reduce((total, rate) => total + rate, 0);
  return rates.length < streams.length || sum <= 0 ? null : sum;
}
