import type { SiteGraph } from "@dyetrace/site";
import { greatestOf, type RunReport } from "@dyetrace/wire";
import { CauseFinder } from "./cause-finder.ts";
import { type Change, changesOf } from "./changes.ts";
import { compareCopies } from "./compare-copies.ts";
import { compareDelays } from "./compare-delays.ts";
import { compareDeliveries } from "./compare-deliveries.ts";
import { compareFindings, notesOfFindings } from "./compare-findings.ts";
import { compareLeaks } from "./compare-leaks.ts";
import { compareLoss, LOSS_STEP } from "./compare-loss.ts";
import { compareSegments } from "./compare-segments.ts";
import { type Comparison, decide, type Outcome, points } from "./comparison.ts";
import { standingTests } from "./holm-correction.ts";
import { listenerGroups } from "./listener-groups.ts";
import { pairReceipts } from "./pair-receipts.ts";
import { trialsToExclude } from "./ratio-difference.ts";

export interface RunComparison {
  readonly run: string;
  readonly against: string;
  readonly outcome: Outcome;
  /** One sentence. */
  readonly reason: string;
  readonly changes: readonly Change[];
  readonly comparisons: readonly Comparison[];
  /** What one run had and the other had not. */
  readonly notes: readonly string[];
}

/**
 * A later run held against an earlier one of the same scenario and site. Something is worse or better only if the
 * difference is large enough to matter and is no chance, counting how many things were compared. Pure.
 */
export function compareRuns(after: RunReport, before: RunReport, graph: SiteGraph): RunComparison {
  const pairs = pairReceipts(before, after);
  const finder = new CauseFinder(graph, after.streams);
  const groups = listenerGroups(pairs, graph, finder);
  const comparisons = withoutNeedlessSums(
    decide(
      [
        ...compareFindings(before, after),
        ...pairs.map(compareLoss),
        ...pairs.flatMap(compareCopies),
        ...compareDelays(pairs, groups),
        ...compareLeaks(before, after),
        ...compareSegments(before, after),
        ...compareDeliveries(before, after),
      ],
      standingTests,
    ),
  );
  const changes = changesOf(comparisons, pairs, finder);
  return {
    run: after.run,
    against: before.run,
    ...summarise(comparisons, changes),
    changes,
    comparisons,
    notes: notesOf(before, after),
  };
}

/** All listeners together are only asked where one by one they can't tell: a sum over some that changed says little. */
const withoutNeedlessSums = (comparisons: readonly Comparison[]): readonly Comparison[] =>
  comparisons.filter((one) => {
    if (one.outcome !== "cant-tell" || one.listener !== null || one.stream === null) return true;
    const parts = comparisons.filter(
      ({ what, stream, listener }) => what === one.what && stream === one.stream && listener !== null,
    );
    return parts.length === 0 || parts.some((part) => part.outcome === "cant-tell");
  });

function summarise(
  comparisons: readonly Comparison[],
  changes: readonly Change[],
): { readonly outcome: Outcome; readonly reason: string } {
  const of = (outcome: Outcome): readonly Comparison[] => comparisons.filter((one) => one.outcome === outcome);
  const [worse, better] = ["worse", "better"].map((outcome) => changes.filter((change) => change.outcome === outcome));
  const tell = ({ what, stream, places }: Change): string =>
    `${stream === null ? "" : `${stream}: `}${what}${places.length === 0 ? "" : ` at ${places.slice(0, 3).join(", ")}`}`;
  if (worse !== undefined && worse.length > 0)
    return { outcome: "worse", reason: `Worse: ${worse.map(tell).join("; ")}.` };
  if (comparisons.length === 0) {
    return { outcome: "cant-tell", reason: "The two runs have nothing in common to compare." };
  }
  const undecided = of("cant-tell");
  // Too few to see a small difference is no doubt, as long as another comparison of the same thing could have seen it.
  const isCovered = ({ what }: Comparison): boolean =>
    comparisons.some((one) => one.what === what && one.outcome !== "cant-tell");
  const open = undecided.filter((one) => one.isMaterial || one.p === null || !isCovered(one));
  const [first] = open;
  if (first !== undefined) {
    const where = [first.stream, first.listener].flatMap((name) => name ?? []).join(" at ");
    return {
      outcome: "cant-tell",
      reason: `Of ${comparisons.length} comparisons ${open.length} can't be decided, first ${first.what} ${where}: ${first.because}.`,
    };
  }
  if (better !== undefined && better.length > 0) {
    return { outcome: "better", reason: `Nothing is worse. Better: ${better.map(tell).join("; ")}.` };
  }
  const decided = comparisons.length - undecided.length;
  const rest = undecided.length === 0 ? "" : `; the others had too few packets to show a small difference`;
  return {
    outcome: "same",
    reason: `${decided} of ${comparisons.length} comparisons say that nothing changed${rest}.${sensitivity(comparisons)}`,
  };
}

/** What a change of loss would have had to be to be seen at every listener, and how many packets see a smaller one. */
function sensitivity(comparisons: readonly Comparison[]): string {
  const allowed = comparisons.flatMap(({ what, allows }) => (what === "loss" ? (allows ?? []) : []));
  if (allowed.length === 0) return "";
  const widest = greatestOf(allowed);
  const seen = ` A change of loss of ${points(Math.max(widest, LOSS_STEP))} or more is excluded at every listener`;
  return widest <= LOSS_STEP
    ? `${seen}.`
    : `${seen}; one of ${points(LOSS_STEP)} needs about ${trialsToExclude(LOSS_STEP)} packets in each run.`;
}

function notesOf(before: RunReport, after: RunReport): string[] {
  const keysOf = (report: RunReport): Set<string> =>
    new Set(report.receipts.map(({ stream, listener }) => `${stream} at ${listener}`));
  const [old, now] = [keysOf(before), keysOf(after)];
  const queriers = (report: RunReport): string =>
    report.queriers
      .map(({ address, version }) => `${address} version ${version}`)
      .sort()
      .join(", ") || "none";
  return [
    ...[...old].filter((key) => !now.has(key)).map((key) => `Only the earlier run has ${key}.`),
    ...[...now].filter((key) => !old.has(key)).map((key) => `Only the later run has ${key}.`),
    ...notesOfFindings(before, after),
    ...(queriers(before) === queriers(after)
      ? []
      : [`Queriers heard before: ${queriers(before)}; now: ${queriers(after)}.`]),
  ];
}
