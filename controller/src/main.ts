import { describeFault, Fault } from "@dyetrace/wire";
import { bashCompletion } from "@dyetrace/wire/command-line/bash-completion";
import { endWithReader } from "@dyetrace/wire/command-line/closed-output";
import { withoutEmptyDefault } from "@dyetrace/wire/command-line/empty-default";
import { manualPage } from "@dyetrace/wire/command-line/manual-page";
import { tellMistypedOptions } from "@dyetrace/wire/command-line/mistyped-option";
import { Command, CommanderError, Help } from "commander";
import { EXITS } from "./about/exits.ts";
import { VERSION } from "./about/version.ts";
import { registerAgents } from "./commands/agents.ts";
import { EXIT, EXIT_USAGE } from "./commands/arguments/exit-codes.ts";
import { refusalJson } from "./commands/arguments/refusal-json.ts";
import { tellUnknownCommands } from "./commands/arguments/tell-unknown-commands.ts";
import { registerAudit } from "./commands/audit.ts";
import { registerBackup } from "./commands/backup.ts";
import { registerCompare } from "./commands/compare.ts";
import { registerController } from "./commands/controller.ts";
import { registerDemo } from "./commands/demo.ts";
import { registerDevice } from "./commands/device/register-device.ts";
import { registerEvidence } from "./commands/evidence.ts";
import { registerInventory } from "./commands/inventory/register-inventory.ts";
import { registerOperator } from "./commands/operator.ts";
import { registerPlan } from "./commands/plan.ts";
import { registerPractice } from "./commands/practice.ts";
import { registerProbe } from "./commands/probe.ts";
import { registerReport } from "./commands/report.ts";
import { registerRun } from "./commands/run.ts";
import { registerRuns } from "./commands/runs.ts";
import { registerScenarios } from "./commands/scenarios.ts";
import { registerSignInCommand } from "./commands/sign-in.ts";
import { registerStop } from "./commands/stop.ts";
import { registerStory } from "./commands/story.ts";
import { registerToken } from "./commands/token.ts";
import { registerUpgradeCheck } from "./commands/upgrade-check.ts";

/** The `dyetrace` program. Sets the exit code; a mistake of the user's ends in one sentence and exit code 2. */
export async function runProgram(argv: readonly string[]): Promise<void> {
  endWithReader(process);
  const program = new Command("dyetrace")
    .description("Pours marked multicast into a site and names the segment where it stops, thins out or leaks.")
    .version(VERSION)
    .enablePositionalOptions()
    .exitOverride()
    .configureHelp({ optionDescription: (option) => withoutEmptyDefault(new Help().optionDescription(option)) })
    .showHelpAfterError("Add --help to see what this command takes.");
  registerController(program);
  registerOperator(program);
  registerToken(program);
  registerAgents(program);
  registerAudit(program);
  registerSignInCommand(program);
  registerRun(program);
  registerProbe(program);
  registerRuns(program);
  registerBackup(program);
  registerStop(program);
  registerReport(program);
  registerEvidence(program);
  registerDevice(program);
  registerInventory(program);
  registerStory(program);
  registerCompare(program);
  registerUpgradeCheck(program);
  registerScenarios(program);
  registerPractice(program);
  registerPlan(program);
  registerDemo(program);
  program
    .command("completion")
    .description("Print what lets bash complete this program's words: source <(dyetrace completion)")
    .action(() => void process.stdout.write(bashCompletion(program)));
  program
    .command("manual")
    .description("Print this program's page for man(1).")
    .action(() => void process.stdout.write(manualPage(program, { version: VERSION, exits: EXITS })));
  tellUnknownCommands(program);
  tellMistypedOptions(program);
  const onMistake = (error: unknown): never => {
    process.stderr.write(sayOwnMistake(error));
    process.exit(exitOfMistake(argv));
  };
  process.on("uncaughtException", onMistake);
  try {
    await program.parseAsync([...argv], { from: "user" });
  } catch (error) {
    if (error instanceof CommanderError) process.exitCode = error.exitCode === 0 ? 0 : EXIT_USAGE;
    else if (error instanceof Fault) {
      for (const fault of [error, ...error.others]) process.stderr.write(`${describeFault(fault)}\n`);
      process.stdout.write(refusalJson(argv, error) ?? "");
      process.exitCode = EXIT_USAGE;
    } else {
      process.stderr.write(sayOwnMistake(error));
      process.exitCode = exitOfMistake(argv);
    }
  } finally {
    process.off("uncaughtException", onMistake);
  }
}

const sayOwnMistake = (error: unknown): string =>
  `dyetrace made a mistake of its own; please report this:\n${error instanceof Error ? error.stack : String(error)}\n`;

/** Of a run, 1 says that it failed, so a mistake of ours says 2. A controller's unit starts it again but for 2. */
const exitOfMistake = ([command]: readonly string[]): number => (command === "controller" ? 1 : EXIT["could-not-run"]);
