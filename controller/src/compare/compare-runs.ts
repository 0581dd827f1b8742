import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { CauseFinder } from "./cause-finder.ts";
import { type Change, changesOf } from "./changes.ts";
import { compareCopies } from "./compare-copies.ts";
import { compareDelays } from "./compare-delays.ts";
import { compareDeliveries } from "./compare-deliveries.ts";
import { compareFindings, notesOfFindings } from "./compare-findings.ts";
import { compareLeaks } from "./compare-leaks.ts";
import { compareLoss } from "./compare-loss.ts";
import { compareSegments } from "./compare-segments.ts";
import { type Candidate, type Comparison, decide, LEVEL, type Outcome } from "./comparison.ts";
import { standingTests } from "./holm-correction.ts";
import { listenerGroups } from "./listener-groups.ts";
import { pairReceipts } from "./pooled/pair-receipts.ts";
import { type ListenerPair, poolStreams } from "./pooled/pool-streams.ts";
import { summariseComparisons } from "./summarise-comparisons.ts";

export interface RunComparison {
  readonly run: string;
  readonly against: string;
  readonly outcome: Outcome;
  /** One or two sentences. */
  readonly reason: string;
  /** The least rise that would have been seen, in one sentence; empty where nothing bounds any. */
  readonly excluded: string;
  /** It can't tell, and no further later run would decide it: the earlier one did not measure what it takes. */
  readonly isBarred: boolean;
  readonly changes: readonly Change[];
  readonly comparisons: readonly Comparison[];
  /** What one run had and the other had not. */
  readonly notes: readonly string[];
}

export interface CompareOptions {
  /** Chance of any false alarm among all that is compared; of several comparisons each has its share. */
  readonly level?: number;
}

/**
 * A later run held against an earlier one of the same scenario and site. Something is worse or better only if the
 * difference is large enough to matter and is no chance, counting how many things were compared. Pure.
 */
export function compareRuns(
  after: RunReport,
  before: RunReport,
  graph: SiteGraph,
  { level = LEVEL }: CompareOptions = {},
): RunComparison {
  const pairs = pairReceipts(before, after);
  const pools = poolStreams(pairs);
  const finder = new CauseFinder(graph, after.streams);
  const groups = listenerGroups(pairs, graph, finder);
  const comparisons = withoutNeedlessSums(
    decide(
      [
        ...compareFindings(before, after),
        ...pairs.map((pair) => compareLoss(pair, level)),
        ...pairs.flatMap((pair) => compareCopies(pair, level)),
        ...compareListeners(pools, level),
        ...compareDelays(pairs, groups, level),
        ...compareLeaks(before, after),
        ...compareSegments(before, after),
        ...compareDeliveries(before, after),
      ],
      standingTests,
      level,
    ),
  );
  const changes = changesOf(comparisons, { pairs, pools }, finder);
  return {
    run: after.run,
    against: before.run,
    ...summariseComparisons({ comparisons, changes, beside: [], streams: after.streams, level }),
    changes,
    comparisons,
    notes: notesOf(before, after),
  };
}

/** All streams of a listener together. */
export const compareListeners = (pools: readonly ListenerPair[], level: number): readonly Candidate[] =>
  pools.flatMap((pair) => {
    const named = { ...pair, stream: "" };
    return [compareLoss(named, level), ...compareCopies(named, level)].map((candidate) => ({
      ...candidate,
      stream: null,
    }));
  });

/** All listeners together are only asked where one by one they can't tell: a sum over some that changed says little. */
const withoutNeedlessSums = (comparisons: readonly Comparison[]): readonly Comparison[] =>
  comparisons.filter((one) => {
    if (one.outcome !== "cant-tell" || one.listener !== null || one.stream === null) return true;
    const parts = comparisons.filter(
      ({ what, stream, listener }) => what === one.what && stream === one.stream && listener !== null,
    );
    return parts.length === 0 || parts.some((part) => part.outcome === "cant-tell");
  });

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
