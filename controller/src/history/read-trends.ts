import { Fault, type RunReport } from "@dyetrace/wire";
import type { Matrix, Trends } from "@dyetrace/wire/console/run-history";
import type { RunQuery } from "@dyetrace/wire/console/stored-run";
import type { Store } from "../store/store.ts";
import { FIGURE_NAMES, matrixOf, type TrendQuery, trendsOf } from "./trends.ts";

/** So many runs, the newest, where nobody says how many; and at most, for each report is read. */
export const USUAL_RUNS = 20;
export const MOST_RUNS = 200;

/** @throws {Fault} OPTION_INVALID where no figure is called that */
export async function readTrends(store: Store, query: RunQuery & TrendQuery): Promise<Trends> {
  const { figure, stream, listener, most = USUAL_RUNS, ...runs } = query;
  if (figure !== undefined && !FIGURE_NAMES.includes(figure)) {
    throw new Fault("OPTION_INVALID", `There is no figure "${figure}"`, `Ask for one of ${FIGURE_NAMES.join(", ")}`);
  }
  const reports: RunReport[] = [];
  for (const { runId, verdict } of await store.runs.list({ ...runs, most: Math.min(most, MOST_RUNS) })) {
    const report = verdict === null ? null : (await store.runs.find(runId))?.report;
    if (report != null) reports.push(report);
  }
  return trendsOf(reports.toReversed(), {
    ...(figure === undefined ? {} : { figure }),
    ...(stream === undefined ? {} : { stream }),
    ...(listener === undefined ? {} : { listener }),
  });
}

/** @throws {Fault} RUN_UNKNOWN, RUN_UNFINISHED */
export async function readMatrix(store: Store, runId: string): Promise<Matrix> {
  const { report } = await store.runs.get(runId);
  if (report === null) throw new Fault("RUN_UNFINISHED", `Run ${runId} has no report yet`, "Wait for its end");
  return matrixOf(report);
}
