import { loadSitePlan } from "@dyetrace/site";
import { Fault, type RunRequest } from "@dyetrace/wire";
import { compareRuns, type RunComparison } from "../../compare/compare-runs.ts";
import type { Outcome } from "../../compare/comparison.ts";
import { runDifferences } from "../../compare/run-differences.ts";
import type { RunRecord } from "../../store/run-record.ts";
import { reportOf } from "./report-of.ts";
import type { RunLibrary } from "./run-library.ts";

/** As for a run: 0 nothing got worse, 1 something did, 2 could not compare, 3 can't tell. */
export const EXIT_OF_OUTCOME: Readonly<Record<Outcome, number>> = { same: 0, better: 0, worse: 1, "cant-tell": 3 };

const BASELINE = "baseline:";
const MOST_DIFFERENCES = 6;

/** @param against a run's id, or `baseline:NAME` @throws {Fault} BASELINE_UNKNOWN, RUN_UNKNOWN */
export async function earlierRun(library: RunLibrary, against: string): Promise<RunRecord> {
  return library.get(against.startsWith(BASELINE) ? await library.baseline(against.slice(BASELINE.length)) : against);
}

/**
 * A run held against an earlier one; that they differ in what was asked stands in its notes.
 * @throws {Fault} COMPARE_REFUSED where they are no pair and nobody insists; RUN_UNFINISHED
 */
export function holdAgainst(after: RunRecord, before: RunRecord, isAnyway: boolean): RunComparison {
  const differences = runDifferences(before.request, after.request);
  if (differences.length > 0 && !isAnyway) throw noPair(differences);
  const { site } = after.request;
  const comparison = compareRuns(reportOf(after), reportOf(before), loadSitePlan(site.text, site.file));
  return { ...comparison, notes: [...differences.map(sentence), ...comparison.notes] };
}

const sentence = (difference: string): string => `${difference.charAt(0).toUpperCase()}${difference.slice(1)}.`;

/** Before a run is made for it. @throws {Fault} COMPARE_REFUSED */
export function refuseNoPair(before: RunRecord, request: RunRequest): void {
  const differences = runDifferences(before.request, request);
  if (differences.length > 0) throw noPair(differences);
}

function noPair(differences: readonly string[]): Fault {
  const more = differences.length - MOST_DIFFERENCES;
  const told = differences.slice(0, MOST_DIFFERENCES).join("; ");
  return new Fault(
    "COMPARE_REFUSED",
    `These two runs are no pair: ${told}${more > 0 ? `; and ${more} more` : ""}`,
    "Run the same scenario on the same plan, or add --anyway",
  );
}
