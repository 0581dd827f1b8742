import type { Command } from "commander";

/** Has no type there; it says the word and the nearest name of a command, as it does for groups that do nothing by themselves. */
interface SaysUnknown {
  unknownCommand(): never;
}

/**
 * A group that does something by itself and takes no words, as `runs`, would call a mistyped command of its own one word too
 * many. Here such a word is no command of it, and the nearest name is said.
 */
export function tellUnknownCommands(group: Command): void {
  for (const command of group.commands) tellUnknownCommands(command);
  if (group.parent === null || group.commands.length === 0 || group.registeredArguments.length > 0) return;
  group.allowExcessArguments().hook("preAction", (_, command) => {
    if (command === group && group.args.length > 0) (group as unknown as SaysUnknown).unknownCommand();
  });
}
