import { describeFault, Fault } from "@dyetrace/wire";
import { bashCompletion } from "@dyetrace/wire/command-line/bash-completion";
import { endWithReader } from "@dyetrace/wire/command-line/closed-output";
import { withoutEmptyDefault } from "@dyetrace/wire/command-line/empty-default";
import { manualPage } from "@dyetrace/wire/command-line/manual-page";
import { tellMistypedOptions } from "@dyetrace/wire/command-line/mistyped-option";
import { Command, CommanderError, Help } from "commander";
import { EXITS } from "./about/exits.ts";
import { VERSION } from "./about/version.ts";
import { readAgentConfig } from "./config/read-agent-config.ts";
import { registerEnrol } from "./control/register-enrol.ts";
import { registerPin } from "./control/register-pin.ts";
import { registerRun } from "./control/register-run.ts";
import { registerStop } from "./control/register-stop.ts";
import { registerAir } from "./standalone/air/register-air.ts";
import { registerCheck } from "./standalone/register-check.ts";
import { registerListen } from "./standalone/register-listen.ts";
import { registerSend } from "./standalone/register-send.ts";

const EXIT_USAGE = 2;

/**
 * Whether a program that a controller sent may run in the place of this one: as this host's file says now.
 * @param configFile as the option has it
 */
export function mayBeReplaced(configFile: string | undefined): boolean {
  try {
    const { allowsUpgrade, upgradeKeys } = readAgentConfig(configFile);
    return allowsUpgrade && upgradeKeys.length > 0;
  } catch {
    return false; // the program says what is wrong with it
  }
}

/** The `dyetrace-agent` program. Sets the exit code; a mistake of the user's ends in one sentence and exit code 2. */
export async function runAgentProgram(argv: readonly string[]): Promise<void> {
  endWithReader(process);
  const program = new Command("dyetrace-agent")
    .description("Sends marked multicast test traffic, listens for it, and watches, from this host.")
    .version(VERSION)
    .exitOverride()
    .configureHelp({ optionDescription: (option) => withoutEmptyDefault(new Help().optionDescription(option)) })
    .showHelpAfterError("Add --help to see what this command takes.");
  registerEnrol(program);
  registerPin(program);
  registerRun(program);
  registerStop(program);
  registerSend(program);
  registerListen(program);
  registerCheck(program);
  registerAir(program);
  program
    .command("completion")
    .description("Print what lets bash complete this program's words: source <(dyetrace-agent completion)")
    .action(() => void process.stdout.write(bashCompletion(program)));
  program
    .command("manual")
    .description("Print this program's page for man(1).")
    .action(() => void process.stdout.write(manualPage(program, { version: VERSION, exits: EXITS })));
  tellMistypedOptions(program);
  try {
    await program.parseAsync([...argv], { from: "user" });
  } catch (error) {
    if (error instanceof CommanderError) process.exitCode = error.exitCode === 0 ? 0 : EXIT_USAGE;
    else if (error instanceof Fault) {
      for (const fault of [error, ...error.others]) process.stderr.write(`${describeFault(fault)}\n`);
      process.exitCode = EXIT_USAGE;
    } else throw error;
  }
}
