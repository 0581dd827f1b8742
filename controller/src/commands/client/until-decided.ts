import type { SiteGraph } from "@dyetrace/site";
import { Fault, formatDurationNs, type RunReport } from "@dyetrace/wire";
import { compareRuns, type RunComparison } from "../../compare/compare-runs.ts";
import { listenerLosses, outlookOf, sayOutlook } from "../../compare/looks/outlook.ts";
import { planLooks } from "../../compare/looks/plan-looks.ts";
import { poolRuns } from "../../compare/pooled/pool-runs.ts";
import { wholeRuns } from "../../compare/pooled/whole-runs.ts";

/** Where nobody says how long at most. */
export const AT_MOST_NS: number = 10 * 60e9;

/** Of a comparison that is barred. */
export const NO_RUN_HELPS =
  "No further run decides the rest: the earlier run did not measure what it takes. Compare with another earlier run";

export interface UntilDecided {
  readonly before: RunReport;
  readonly graph: SiteGraph;
  /** One run by the scenario. */
  readonly lastsNs: number;
  readonly atMostNs: number;
  /** Makes one more run. */
  readonly runOnce: () => Promise<RunReport>;
  /** Somebody has stopped the last one. */
  readonly isStopped: () => boolean;
  readonly nowMs: () => number;
  readonly say: (sentence: string) => void;
}

export interface Decided {
  readonly comparison: RunComparison;
  readonly reports: readonly RunReport[];
}

/**
 * Runs again and again, and holds all later runs together against the earlier one at looks that are settled beforehand, until
 * that says worse or better, or that nobody loses a twentieth of a per cent more; or until the time is over.
 */
export async function runUntilDecided(task: UntilDecided): Promise<Decided> {
  const { before, graph, lastsNs, atMostNs, runOnce, isStopped, nowMs, say } = task;
  const mostRuns = Math.floor(atMostNs / lastsNs);
  if (mostRuns < 1) {
    throw new Fault(
      "OPTION_INVALID",
      `One run lasts ${formatDurationNs(lastsNs)}, longer than ${formatDurationNs(atMostNs)}`,
      "Give more time with --at-most",
    );
  }
  const plan = planLooks(mostRuns);
  const first = outlookOf(listenerLosses(before), 1, plan);
  say(
    `At most ${mostRuns === 1 ? "one run" : `${mostRuns} runs`} in ${formatDurationNs(atMostNs)}. ${sayBefore(first, lastsNs)}`,
  );
  const endMs = nowMs() + atMostNs / 1e6;
  const reports: RunReport[] = [];
  const pooled = (): RunReport => poolRuns(wholeRuns(before, reports));
  const hold = () => compareRuns(pooled(), before, graph, { level: plan.level });
  for (const look of plan.after) {
    while (reports.length < look) {
      const isTooLate = reports.length > 0 && nowMs() + lastsNs / 1e6 > endMs;
      if (isTooLate) {
        say("The time is over");
        return { comparison: hold(), reports };
      }
      reports.push(await runOnce());
      if (isStopped()) throw new Fault("RUN_CANCELLED", "The run was stopped", "Nothing was compared");
    }
    const comparison = hold();
    const outlook = outlookOf(listenerLosses(before, pooled()), reports.length, plan);
    const { outcome } = comparison;
    const isDecided = outcome === "worse" || outcome === "better" || (outcome === "same" && outlook === null);
    if (comparison.isBarred) {
      say(`${NO_RUN_HELPS}.`);
      return { comparison, reports };
    }
    if (isDecided || outlook?.isBarred === true || look === plan.after.at(-1)) {
      if (!isDecided && outlook !== null) say(`${sayOutlook(outlook, reports.length, lastsNs)}.`);
      return { comparison, reports };
    }
    const why = outlook === null ? comparison.reason : `${sayOutlook(outlook, reports.length, lastsNs)}.`;
    say(`Not decided after ${reports.length === 1 ? "one run" : `${reports.length} runs`}: ${why}`);
  }
  return { comparison: hold(), reports };
}

function sayBefore(outlook: ReturnType<typeof outlookOf>, lastsNs: number): string {
  if (outlook === null) return `One run of ${formatDurationNs(lastsNs)} decides if nothing has changed.`;
  const { runs, isBarred, listener } = outlook;
  if (isBarred) return `${sayOutlook(outlook, 1, lastsNs)}.`;
  return runs === null
    ? `That is not enough for a rise of loss of a twentieth of a per cent at ${listener}.`
    : `${runs} runs, ${formatDurationNs(runs * lastsNs)} in all, decide if nothing has changed.`;
}
