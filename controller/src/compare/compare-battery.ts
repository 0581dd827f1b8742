import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { type BatteryComparison, TOGETHER } from "./battery-verdict.ts";
import { CauseFinder } from "./cause-finder.ts";
import { changesOf } from "./changes.ts";
import { compareListeners, compareRuns, type RunComparison } from "./compare-runs.ts";
import { type Comparison, decide, LEVEL } from "./comparison.ts";
import { standingTests } from "./holm-correction.ts";
import { pairReceipts, type ReceiptPair } from "./pooled/pair-receipts.ts";
import { poolStreams } from "./pooled/pool-streams.ts";
import { summariseComparisons } from "./summarise-comparisons.ts";

/** One scenario of a battery, as it went before and after a change. */
export interface BatteryPair {
  readonly scenario: string;
  readonly before: RunReport;
  readonly after: RunReport;
}

/**
 * Each scenario by itself, and what each listener lost in all of them together: a loss of one packet in a thousand shows in
 * none of the short ones. Each has its share of the chance of a false alarm, and what one decides another need not. Pure.
 * @param level chance of any false alarm in all of it
 */
export function compareBattery(
  pairs: readonly BatteryPair[],
  graph: SiteGraph,
  level: number = LEVEL,
): readonly BatteryComparison[] {
  const share = level / (pairs.length + 1);
  const alone = pairs.map(({ scenario, before, after }) => ({
    scenario,
    after,
    comparison: compareRuns(after, before, graph, { level: share }),
  }));
  const measured = alone.flatMap(({ comparison }) => comparison.comparisons);
  const together =
    pairs.length < 2 ? [] : [{ scenario: TOGETHER, comparison: compareTogether(pairs, graph, share, measured) }];
  return [
    ...alone.map(({ scenario, after, comparison }) => {
      const beside = [...alone, ...together].flatMap((other) =>
        other.scenario === scenario ? [] : other.comparison.comparisons,
      );
      return {
        scenario,
        comparison: {
          ...comparison,
          ...summariseComparisons({ ...comparison, beside, streams: after.streams, level: share }),
        },
      };
    }),
    ...together,
  ];
}

/** What each listener got of everything that was sent to it in the whole battery. */
function compareTogether(
  all: readonly BatteryPair[],
  graph: SiteGraph,
  level: number,
  beside: readonly Comparison[],
): RunComparison {
  const pairs = all.flatMap(({ scenario, before, after }) =>
    pairReceipts(before, after).map((pair): ReceiptPair => ({ ...pair, stream: `${scenario} ${pair.stream}` })),
  );
  const pools = poolStreams(pairs, (stream) => all.findIndex(({ scenario }) => stream.startsWith(`${scenario} `)));
  const streams = all.flatMap(({ scenario, after }) =>
    after.streams.map((stream) => ({ ...stream, name: `${scenario} ${stream.name}` })),
  );
  const comparisons = decide(compareListeners(pools, level), standingTests, level);
  const changes = changesOf(comparisons, { pairs, pools }, new CauseFinder(graph, streams));
  return {
    run: all.map(({ after }) => after.run).join(", "),
    against: all.map(({ before }) => before.run).join(", "),
    ...summariseComparisons({ comparisons, changes, beside, streams, level }),
    changes,
    comparisons,
    notes: [],
  };
}
