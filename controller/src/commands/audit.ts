import { existsSync } from "node:fs";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { checkChain } from "../audit/audit-chain.ts";
import { AuditFile } from "../audit/audit-file.ts";

const EXIT_BROKEN = 1;

/** The trail of who did what, on the controller's own machine, also while it runs. */
export function registerAudit(program: Command): void {
  const data = ["--data <folder>", "the controller's data folder", "dyetrace-data"] as const;
  const audit = program.command("audit").description("Who did what at a controller.");
  audit
    .command("check")
    .description("Whether an entry was changed, taken out or put in since it was written. Exit code 1: one was.")
    .option("--json", "as JSON")
    .option(...data)
    .action((options: { data: string; json?: boolean }) => {
      const check = checkChain(fileIn(options.data).lines());
      const { entries, before, firstNumber, last, breaks } = check;
      if (breaks.length > 0) process.exitCode = EXIT_BROKEN;
      if (options.json === true) {
        process.stdout.write(`${JSON.stringify(check, null, 2)}\n`);
        return;
      }
      for (const sentence of breaks) process.stdout.write(`${sentence}\n`);
      if (before > 0) process.stdout.write(`${before} entries of an earlier version have no hash.\n`);
      if (last === null) process.stdout.write("There is no entry with a hash.\n");
      else {
        process.stdout.write(
          `${entries} entries, numbers ${firstNumber} to ${last.number}. The last one's hash: ${last.hash}\n`,
        );
        process.stdout.write(
          "Note number and hash elsewhere: then a later check shows whether the end was taken off.\n",
        );
      }
    });
  audit
    .command("export")
    .description("Write all entries with their hashes to standard output, a JSON object a line.")
    .option(...data)
    .action((options: { data: string }) => {
      for (const line of fileIn(options.data).lines()) process.stdout.write(`${line}\n`);
    });
}

function fileIn(folder: string): AuditFile {
  if (existsSync(folder)) return new AuditFile(folder);
  throw new Fault("FILE_UNREADABLE", `There is no data folder ${folder}`, "Name the controller's with --data");
}
