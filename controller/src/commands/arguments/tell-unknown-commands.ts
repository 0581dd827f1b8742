import { nearestName } from "@dyetrace/wire";
import type { Command } from "commander";

/** Has no type there; the first says the word and the nearest name of a command, as it does for groups that do nothing by themselves. */
interface SaysWhatIsWrong {
  unknownCommand(): never;
  missingArgument(name: string): never;
}

/** How runs are named: such a word is no mistyped command. */
const RUN_ID = /^([0-9a-f]{4,16}|last)$/;

/**
 * A group that does something by itself, as `runs` and `report`, would take a mistyped command of its own for one word too many, or
 * for what it is about. Here such a word is no command of it, and the nearest name is said.
 */
export function tellUnknownCommands(group: Command): void {
  for (const command of group.commands) tellUnknownCommands(command);
  if (group.parent === null) return;
  if (group.commands.length === 0) {
    tellCommandForRun(group);
    return;
  }
  const says = group as unknown as SaysWhatIsWrong;
  if (group.registeredArguments.length === 0) {
    group.allowExcessArguments().hook("preAction", (_, command) => {
      if (command === group && group.args.length > 0) says.unknownCommand();
    });
    return;
  }
  const names = group.commands.map((command) => command.name());
  const isMistyped = ([word]: readonly string[]): boolean =>
    word !== undefined && !RUN_ID.test(word) && nearestName(word, names) !== null;
  group.hook("preAction", (_, command) => {
    if (command === group && group.args.length === 1 && isMistyped(group.args)) says.unknownCommand();
  });
  const missing = says.missingArgument.bind(group);
  says.missingArgument = (name) => (isMistyped(group.args) ? says.unknownCommand() : missing(name));
}

/** Of a command about a run: a word that is no run's id but nearly the name of another command, as in `report schma`. */
function tellCommandForRun(command: Command): void {
  const [about] = command.registeredArguments;
  if (about?.name() !== "run") return;
  command.hook("preAction", () => {
    const [word = ""] = command.args;
    const names = programOf(command).commands.map((one) => one.name());
    const nearest = word === "" || RUN_ID.test(word) ? null : nearestName(word, names);
    if (nearest === null) return;
    const program = programOf(command).name();
    command.error(`error: '${word}' is no run's id (or last); the command of that name is \`${program} ${nearest}\``);
  });
}

function programOf(command: Command): Command {
  return command.parent === null ? command : programOf(command.parent);
}
