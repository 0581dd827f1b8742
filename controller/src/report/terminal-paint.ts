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
  const hasColour = stream.isTTY === true && process.env["NO_COLOR"] === undefined;
  return hasColour ? (text, tone) => styleText(STYLES[tone], text) : (text) => text;
}
