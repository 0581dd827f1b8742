/** Exit codes of `dyetrace`, with what each says: in its page for man(1) and in deploy/exit-codes.md. */
export const EXITS: readonly (readonly [code: number, meaning: string])[] = [
  [0, "What was asked for was done; of a run: pass."],
  [1, "A run failed, or something differs or got worse; of `controller`: a mistake of its own."],
  [2, "It could not be done: an option, a file, a controller or a right is missing or wrong. The sentence says which."],
  [3, "A run is inconclusive: the packets do not decide."],
  [130, "It was interrupted a second time, and ended before everything was taken down."],
  [141, "Whoever read what it printed ended first, such as `head`."],
];
