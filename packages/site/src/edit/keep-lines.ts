import { lineChanges } from "./line-changes.ts";

/**
 * A file as its writer had it, with the lines that a change touched: a library that writes a whole document anew also sets its
 * spaces anew, and whoever looks for what was changed would find every line.
 * @param original the writer's text
 * @param before the same document, as the library writes it  @param after with the change, as the library writes it
 * @returns null where the writer's lines are not the library's, one by one, but for spaces and empty lines
 */
export function keepLines(original: string, before: string, after: string): string | null {
  const end = original.includes("\r\n") ? "\r\n" : "\n";
  const [own, was, is] = [original, before, after].map((text) => text.split(/\r?\n/)) as [string[], string[], string[]];
  const ownOf = new Map<number, number>();
  /** Empty lines of the writer's that the library leaves out, by the line that they follow; -1: none. */
  const emptyAfter = new Map<number, string[]>();
  let last = -1;
  for (const change of lineChanges(own, was, withoutSpaces)) {
    if (change.kind === "kept") {
      ownOf.set(change.after, change.before);
      last = change.after;
    } else if (change.kind === "added" || own[change.before]?.trim() !== "") return null;
    else emptyAfter.set(last, [...(emptyAfter.get(last) ?? []), own[change.before] ?? ""]);
  }
  const lines = [...(emptyAfter.get(-1) ?? [])];
  for (const change of lineChanges(was, is)) {
    if (change.kind === "removed") lines.push(...(emptyAfter.get(change.before) ?? []));
    else if (change.kind === "added") lines.push(inPlansManner(is[change.after] ?? ""));
    else lines.push(own[ownOf.get(change.before) ?? -1] ?? "", ...(emptyAfter.get(change.before) ?? []));
  }
  return lines.join(end);
}

const withoutSpaces = (line: string): string => line.replace(/\s+/g, "");

/** The library pads lists as it pads maps: `[ a, b ]`. Plans write `[a, b]`. */
function inPlansManner(line: string): string {
  const [, code = "", rest = ""] = /^(.*?)(\s#.*)?$/.exec(line) ?? [];
  return /["']/.test(code) ? line : `${code.replace(/\[ ([^[\]]*) \]/g, "[$1]")}${rest}`;
}
