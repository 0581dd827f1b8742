import type { RunSummary } from "@dyetrace/wire/console/stored-run";

/** An earlier run that another can be held against, with the words for it. */
export interface EarlierRun {
  readonly runId: string;
  /** `the one before`, or a baseline's name. */
  readonly called: string;
}

/** Baselines that are offered beside a run. */
const MOST_NAMED = 3;

/**
 * What a finished run can be held against: the one before of the same scenario on the same site, and named ones.
 * @param runs newest first
 */
export function earlierRunsOf(run: RunSummary, runs: readonly RunSummary[]): readonly EarlierRun[] {
  if (run.state !== "done") return [];
  const older = runs
    .slice(runs.findIndex(({ runId }) => runId === run.runId) + 1)
    .filter(({ state, site, scenario }) => state === "done" && site === run.site && scenario === run.scenario);
  const before = older.slice(0, 1).map(({ runId }) => ({ runId, called: "the one before" }));
  const named = older.flatMap(({ runId, baselines }) => baselines.map((name) => ({ runId, called: name })));
  return [...before, ...named.slice(0, MOST_NAMED)];
}
