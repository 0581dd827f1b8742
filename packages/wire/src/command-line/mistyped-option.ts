/** What is needed of a command of the parser; it has no types for all of it. */
export interface ParsedCommand {
  readonly commands: readonly unknown[];
  readonly args: readonly string[];
  readonly parent: ParsedCommand | null;
  /** Of the program: all words as they were written. */
  readonly rawArgs?: readonly string[];
  missingMandatoryOptionValue(option: unknown): never;
  unknownOption(flag: string): never;
}

/**
 * A mistyped option is named before the one that is missing because of it: `--sitte plan.yaml` is no option, rather than --site
 * not given. For all commands below this one.
 */
export function tellMistypedOptions(program: unknown): void {
  const command = program as ParsedCommand;
  for (const one of command.commands) tellMistypedOptions(one);
  const missing = command.missingMandatoryOptionValue.bind(command);
  command.missingMandatoryOptionValue = (option) => {
    const written = rootOf(command).rawArgs ?? [];
    const end = written.indexOf("--"); // what follows it is no option
    const options = new Set(end < 0 ? written : written.slice(0, end));
    const mistyped = command.args.find((word) => /^--?[A-Za-z]/.test(word) && options.has(word));
    return mistyped === undefined ? missing(option) : command.unknownOption(mistyped.replace(/=.*/, ""));
  };
}

function rootOf(command: ParsedCommand): ParsedCommand {
  return command.parent === null ? command : rootOf(command.parent);
}
