/** On what a line of a drawn plan rests, as its comment says: see `writeDrawnPlan`. */
export interface Rests {
  /** `seen`: somebody announced it; `concluded`: it follows from tables; `open`: nobody saw it, it has to be answered. */
  readonly by: "seen" | "concluded" | "open";
  readonly because: string;
}

/** @param comment behind a node or link, without its `#`; null or undefined: there is none  @returns null: it is no drawing's */
export function restsOf(comment: string | null | undefined): Rests | null {
  const [, seen, concluded, open] = /^\s*(?:seen: (.*)|concluded: (.*)|\? (.*))$/.exec(comment ?? "") ?? [];
  if (seen !== undefined) return { by: "seen", because: seen };
  if (concluded !== undefined) return { by: "concluded", because: concluded };
  return open === undefined ? null : { by: "open", because: open };
}

/** The comment of a line that was seen or concluded, and says something else by hand now. @param was in a word or two */
export function correctedByHand(comment: string | null | undefined, was: string): string | null {
  if (restsOf(comment) === null) return comment ?? null;
  return ` by hand; drawn as ${was}:${(comment ?? "").replace(/^\s*\? /, " ")}`;
}

const QUESTION = /^\s*#\s*\? (.*)$/;

/** Questions that a drawn plan asks, each on a line of its own, in the order of the text. */
export const questionsIn = (text: string): readonly string[] =>
  text.split(/\r?\n/).flatMap((line) => QUESTION.exec(line)?.[1]?.trim() ?? []);

/** The text without that question, and without the head of the questions once none is left. */
export function withoutQuestion(text: string, question: string): string {
  const lines = text.split("\n");
  const at = lines.findIndex((line) => QUESTION.exec(line.trimEnd())?.[1]?.trim() === question);
  if (at < 0) return text;
  lines.splice(at, 1);
  if (/^#\s*Questions:\s*$/.test(lines[at - 1] ?? "") && !QUESTION.test(lines[at] ?? "")) {
    const isSpaced = /^#\s*$/.test(lines[at - 2] ?? "");
    lines.splice(at - (isSpaced ? 2 : 1), isSpaced ? 2 : 1);
  }
  return lines.join("\n");
}
