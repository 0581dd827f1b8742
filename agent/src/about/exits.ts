/** Exit codes of `dyetrace-agent`, with what each says: in its page for man(1) and in deploy/exit-codes.md. */
export const EXITS: readonly (readonly [code: number, meaning: string])[] = [
  [0, "What was asked for was done."],
  [1, "Something is not as it should be, as the command says; or a mistake of its own."],
  [
    2,
    "It could not be done: an option, a file or a right is missing or wrong, or the controller will not have this agent.",
  ],
  [86, "The agent was upgraded by its controller, and is to be started again."],
  [141, "Whoever read what it printed ended first, such as `head`."],
];
