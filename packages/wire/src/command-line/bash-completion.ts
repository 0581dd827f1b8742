import { type DescribedCommand, shownCommands, shownOptions } from "./described-command.ts";

/**
 * A script for bash (its manual, "Programmable Completion"): commands, options and choices of the word that is being written;
 * names of files everywhere else.
 * @param parsed the parser's program
 */
export function bashCompletion(parsed: unknown): string {
  const program = parsed as DescribedCommand;
  const name = program.name();
  const shellName = `_${name.replaceAll("-", "_")}`;
  return `# Completion of ${name} for bash, made from its commands.
${shellName}() {
  COMPREPLY=()
  local word=\${COMP_WORDS[COMP_CWORD]} before=\${COMP_WORDS[COMP_CWORD-1]} path= next words= i
  for ((i = 1; i < COMP_CWORD; i++)); do
    next="$path \${COMP_WORDS[i]}"
    case "\${next# }" in
${casesOf(program, "", (path) => `      ${quote(path)}) path=$next ;;`).join("\n")}
    esac
  done
  case "\${path# }:$before" in
${choicesOf(program, "").join("\n")}
  esac
  if [ -z "$words" ]; then
    case "\${path# }" in
      "") words=${quote(wordsOf(program))} ;;
${casesOf(program, "", (path, command) => `      ${quote(path)}) words=${quote(wordsOf(command))} ;;`).join("\n")}
    esac
  fi
  COMPREPLY=($(compgen -W "$words" -- "$word"))
}
complete -o default -F ${shellName} ${name}
`;
}

function casesOf(
  command: DescribedCommand,
  above: string,
  write: (path: string, command: DescribedCommand) => string,
): string[] {
  return shownCommands(command).flatMap((one) => {
    const path = `${above}${one.name()}`;
    return [write(path, one), ...casesOf(one, `${path} `, write)];
  });
}

/** What an option takes: one of a few words, or what nobody here can list, so that bash offers names of files. */
function choicesOf(command: DescribedCommand, path: string): string[] {
  const own = shownOptions(command).flatMap(({ long, argChoices, required }) =>
    long === undefined || !required
      ? []
      : [
          `    ${quote(`${path}:${long}`)}) ${argChoices === undefined ? "return" : `words=${quote(argChoices.join(" "))}`} ;;`,
        ],
  );
  const below = shownCommands(command).flatMap((one) =>
    choicesOf(one, path === "" ? one.name() : `${path} ${one.name()}`),
  );
  return [...own, ...below];
}

const wordsOf = (command: DescribedCommand): string =>
  [
    ...shownCommands(command).map((one) => one.name()),
    ...command.registeredArguments.flatMap(({ argChoices }) => argChoices ?? []),
    ...shownOptions(command).flatMap(({ long }) => long ?? []),
    "--help",
  ].join(" ");

const quote = (text: string): string => `"${text.replace(/["\\$`]/g, "\\$&")}"`;
