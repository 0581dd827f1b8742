import type { Command } from "commander";
import { junitOfComparison } from "../report/junit-comparison.ts";
import { renderComparison } from "../report/terminal-comparison.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { writeUserFile } from "./arguments/write-user-file.ts";
import { EXIT_OF_OUTCOME, earlierRun, holdAgainst } from "./client/hold-against.ts";
import { type LibraryOptions, openLibrary, withLibraryOptions } from "./client/run-library.ts";

interface CompareOptions extends LibraryOptions {
  readonly against: string;
  readonly anyway?: boolean;
  readonly junit?: string;
  readonly json?: string;
}

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
    const [after, before] = [await library.get(run), await earlierRun(library, options.against)];
    const told = holdAgainst(after, before, options.anyway === true);
    if (options.json !== undefined) writeUserFile(options.json, `${JSON.stringify(told, null, 2)}\n`);
    if (options.junit !== undefined) {
      writeUserFile(options.junit, junitOfComparison(told, after.startedAt ?? after.createdAt));
    }
    if (options.json !== "-") process.stdout.write(renderComparison(told, paintFor(process.stdout)));
    process.exitCode = EXIT_OF_OUTCOME[told.outcome];
  });
}
