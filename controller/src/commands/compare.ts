import { loadSitePlan } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { compareRuns } from "../compare/compare-runs.ts";
import type { Outcome } from "../compare/comparison.ts";
import { runDifferences } from "../compare/run-differences.ts";
import { junitOfComparison } from "../report/junit-comparison.ts";
import { renderComparison } from "../report/terminal-comparison.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { writeUserFile } from "./arguments/write-user-file.ts";
import { type LibraryOptions, openLibrary, type RunLibrary, withLibraryOptions } from "./client/run-library.ts";
import { reportOf } from "./report.ts";

interface CompareOptions extends LibraryOptions {
  readonly against: string;
  readonly anyway?: boolean;
  readonly junit?: string;
  readonly json?: string;
}

/** As for a run: 0 nothing got worse, 1 something did, 2 could not compare, 3 can't tell. */
const EXIT_OF: Readonly<Record<Outcome, number>> = { same: 0, better: 0, worse: 1, "cant-tell": 3 };
const BASELINE = "baseline:";
const MOST_DIFFERENCES = 6;

export function registerCompare(program: Command): void {
  withLibraryOptions(
    program
      .command("compare")
      .description("Hold a run against an earlier one of the same scenario: did anything get worse, and where?")
      .argument("<run>", "the later run's id, or `last`")
      .requiredOption("--against <run>", "the earlier run's id, or baseline:NAME")
      .option("--anyway", "compare although scenario or plan differ")
      .option("--junit <file>", "write the comparison as test cases for a CI system")
      .option("--json <file>", "write the comparison as JSON; - for standard output"),
  ).action(async (run: string, options: CompareOptions) => {
    await using library = await openLibrary(options);
    const [after, before] = [await library.get(run), await library.get(await resolve(library, options.against))];
    const differences = runDifferences(before.request, after.request);
    if (differences.length > 0 && options.anyway !== true) throw refusal(differences);
    const { site } = after.request;
    const comparison = compareRuns(reportOf(after), reportOf(before), loadSitePlan(site.text, site.file));
    const told = { ...comparison, notes: [...differences.map(sentence), ...comparison.notes] };
    if (options.json !== undefined) writeUserFile(options.json, `${JSON.stringify(told, null, 2)}\n`);
    if (options.junit !== undefined) {
      writeUserFile(options.junit, junitOfComparison(told, after.startedAt ?? after.createdAt));
    }
    if (options.json !== "-") process.stdout.write(renderComparison(told, paintFor(process.stdout)));
    process.exitCode = EXIT_OF[comparison.outcome];
  });
}

const resolve = async (library: RunLibrary, against: string): Promise<string> =>
  against.startsWith(BASELINE) ? library.baseline(against.slice(BASELINE.length)) : against;

const sentence = (difference: string): string => `${difference.charAt(0).toUpperCase()}${difference.slice(1)}.`;

function refusal(differences: readonly string[]): Fault {
  const more = differences.length - MOST_DIFFERENCES;
  const told = differences.slice(0, MOST_DIFFERENCES).join("; ");
  return new Fault(
    "COMPARE_REFUSED",
    `These two runs are no pair: ${told}${more > 0 ? `; and ${more} more` : ""}`,
    "Run the same scenario on the same plan, or add --anyway",
  );
}
