import { styleText } from "node:util";

export type Tone = "good" | "bad" | "doubt" | "strong" | "quiet";
export type Paint = (text: string, tone: Tone) => string;

const STYLES: Readonly<Record<Tone, Parameters<typeof styleText>[0]>> = {
  good: "green",
  bad: "magenta",
  doubt: "yellow",
  strong: "bold",
  quiet: "gray",
};

/** Colour never carries a meaning alone: every tone stands on a word that says the same. */
export function paintFor(stream: { readonly isTTY?: boolean }): Paint {
  const hasColour = stream.isTTY === true && (process.env["NO_COLOR"] ?? "") === ""; // no-color.org
  return hasColour ? (text, tone) => styleText(STYLES[tone], text) : (text) => text;
}

const WRAP_COLUMNS = 100;

/** Breaks at spaces; `first` stands before the first line, `rest` (or as many spaces) before the others. */
export const wrap = (text: string, first: string, rest: string = " ".repeat(first.length)): string[] =>
  wrapTo(WRAP_COLUMNS, text, first, rest);

/** The same for a page of another width. */
export function wrapTo(columns: number, text: string, first: string, rest: string): string[] {
  const lines: string[] = [];
  let line = first;
  let isEmpty = true;
  for (const word of text.split(" ")) {
    if (!isEmpty && line.length + 1 + word.length > columns) {
      lines.push(line);
      line = rest;
      isEmpty = true;
    }
    line += isEmpty ? word : ` ${word}`;
    isEmpty = false;
  }
  return [...lines, line];
}
