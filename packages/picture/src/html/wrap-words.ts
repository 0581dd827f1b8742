import { textWidth } from "../layout/text-width.ts";

/** Of what `textWidth` measures. */
const MEASURED_PX = 14;

/** Breaks a sentence into lines of at most `widthPx` at a size of letters; a word that is longer has a line of its own. */
export function wrapWords(text: string, widthPx: number, sizePx: number): readonly string[] {
  const lines: string[] = [];
  for (const word of text.split(" ")) {
    const last = lines.at(-1);
    const longer = last === undefined ? word : `${last} ${word}`;
    if (last !== undefined && (textWidth(longer) * sizePx) / MEASURED_PX <= widthPx) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines;
}
