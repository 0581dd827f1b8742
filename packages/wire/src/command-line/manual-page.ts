import { type DescribedCommand, type DescribedOption, shownCommands, shownOptions } from "./described-command.ts";

/** What stands in a page beside the commands. */
export interface ManualFacts {
  readonly version: string;
  /** Exit codes, with what each says. */
  readonly exits: readonly (readonly [code: number, meaning: string])[];
}

/**
 * A page of section 1 for man(1), in the macros of man(7), made from the program's commands.
 * @param parsed the parser's program
 */
export function manualPage(parsed: unknown, { version, exits }: ManualFacts): string {
  const program = parsed as DescribedCommand;
  const name = program.name();
  const lines = [
    `.TH ${name.toUpperCase()} 1 "" "dyetrace ${version}" "User Commands"`,
    ".SH NAME",
    `${text(name)} \\- ${text(sentence(program.description()))}`,
    ".SH SYNOPSIS",
    `.B ${text(name)}`,
    "COMMAND [OPTION]...",
    ".SH COMMANDS",
    ...shownCommands(program).flatMap((one) => tell(one, name)),
    ".SH EXIT STATUS",
    ...exits.flatMap(([code, meaning]) => [".TP", `.B ${code}`, text(meaning)]),
  ];
  return `${lines.join("\n")}\n`;
}

function tell(command: DescribedCommand, above: string): string[] {
  const path = `${above} ${command.name()}`;
  const usage = command.usage();
  const own = [
    `.SS ${text(`${path} ${usage}`.trim())}`,
    text(command.description()),
    ...command.registeredArguments.flatMap((one) => item(one.name(), one.description)),
    ...shownOptions(command).flatMap((option) => item(option.flags, aboutOf(option))),
  ];
  return [...own, ...shownCommands(command).flatMap((one) => tell(one, path))];
}

/** With what holds without it, as the program's own help has it. */
function aboutOf({ description, defaultValue }: DescribedOption): string {
  const isTold = typeof defaultValue === "string" || typeof defaultValue === "number";
  return isTold && defaultValue !== "" ? `${description} (default: ${defaultValue})` : description;
}

const item = (what: string, about: string): string[] => [".TP", `.B ${text(what)}`, text(about === "" ? "." : about)];
const sentence = (words: string): string => words.replace(/\.$/, "");

/** As man(7) takes it: a dash is a minus, and no line begins with a control character. */
const text = (words: string): string =>
  words
    .replaceAll("\\", "\\e")
    .replaceAll("-", "\\-")
    .replace(/^(['.])/gm, "\\&$1")
    .replaceAll("…", "...")
    .replaceAll("–", "\\-");
