import type { Command } from "commander";
import { paintFor } from "../report/terminal-paint.ts";
import { renderRuns } from "../report/terminal-runs.ts";
import { type LibraryOptions, openLibrary, withLibraryOptions } from "./client/run-library.ts";
import { noteDeed } from "./note-deed.ts";

export function registerRuns(program: Command): void {
  withLibraryOptions(
    program
      .command("runs")
      .description("The runs that are stored, newest first.")
      .option("--most <number>", "how many to list", (text) => Number.parseInt(text, 10), 20)
      .option("--json", "as JSON"),
  ).action(async (options: LibraryOptions & { most: number; json?: boolean }) => {
    await using library = await openLibrary(options);
    const runs = await library.list(Number.isInteger(options.most) ? Math.max(1, options.most) : 20);
    process.stdout.write(
      options.json === true ? `${JSON.stringify(runs, null, 2)}\n` : renderRuns(runs, paintFor(process.stdout)),
    );
  });
  withLibraryOptions(
    program
      .command("baseline")
      .description("Name a run, so that later runs can be held against it: compare RUN --against baseline:NAME.")
      .argument("<run>", "the run's id, or `last`")
      .argument("<name>", "for example core-fw-before"),
  ).action(async (run: string, name: string, options: LibraryOptions) => {
    await using library = await openLibrary(options);
    const { runId } = await library.get(run);
    await library.nameBaseline(name, runId);
    if (options.data !== undefined) noteDeed(options.data, `named run ${runId} baseline:${name}`);
    process.stdout.write(`Run ${runId} is now baseline:${name}.\n`);
  });
}
