import { existsSync, renameSync, rmSync, statSync } from "node:fs";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { restoreStore } from "../store/restore-store.ts";
import { type LibraryOptions, openLibrary, withLibraryOptions } from "./client/run-library.ts";
import { noteDeed } from "./with-book.ts";

const SECRETS =
  "Operators, agents' credentials, keys and the trail of who did what are not in it: copy the rest of the data folder as well.";

/** `dyetrace backup` and `dyetrace restore`: the embedded store, while it is used and back again. */
export function registerBackup(program: Command): void {
  withLibraryOptions(
    program
      .command("backup")
      .description("Copy all runs, reports, names and notes to one file; the controller goes on meanwhile.")
      .argument("<file>", "a new file")
      .option("--json", "what was done, as JSON"),
  ).action(async (file: string, options: LibraryOptions & { readonly json?: boolean }) => {
    if (existsSync(file)) throw new Fault("OPTION_INVALID", `There is a file ${file} already`, "Name a new one");
    const draft = `${file}.unfinished`;
    rmSync(draft, { force: true });
    await using library = await openLibrary(options);
    try {
      await library.backUp(draft);
      renameSync(draft, file);
    } catch (error) {
      rmSync(draft, { force: true });
      throw error;
    }
    if (options.data !== undefined) noteDeed(options.data, `took a backup to ${file}`);
    const sizeBytes = statSync(file).size;
    if (options.json === true) {
      process.stdout.write(`${JSON.stringify({ file, sizeBytes }, null, 2)}\n`);
      return;
    }
    process.stdout.write(
      `${file} holds all runs as they are now (${sayBytes(sizeBytes)}). \`dyetrace restore ${file} --data FOLDER\` puts them back.\n${SECRETS}\n`,
    );
  });
  program
    .command("restore")
    .description("Put a backup in the place of a controller's store, with no controller running on it.")
    .argument("<file>", "a file that `dyetrace backup` made")
    .requiredOption("--data <folder>", "the controller's data folder")
    .option("--json", "what was done, as JSON")
    .action(async (file: string, { data, json }: { readonly data: string; readonly json?: boolean }) => {
      const { runs, aside } = await restoreStore(file, data, Date.now());
      noteDeed(data, `restored the store from ${file}`);
      if (json === true) {
        process.stdout.write(`${JSON.stringify({ data, runs, before: aside }, null, 2)}\n`);
        return;
      }
      const kept = aside === null ? "" : ` What was there before lies in ${aside}.`;
      process.stdout.write(`The store in ${data} has ${runs} ${runs === 1 ? "run" : "runs"} now.${kept}\n`);
    });
}

const sayBytes = (bytes: number): string =>
  bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
