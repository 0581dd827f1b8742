/** What a comparison came to, in the same words on the terminal and on the page. */
export const COMPARISON_WORDS: Readonly<Record<"worse" | "better" | "same" | "cant-tell", string>> = {
  worse: "worse",
  better: "better",
  same: "same",
  "cant-tell": "can't tell",
};

/** The chance of such a difference where nothing changed: `p = 0.0042`. @param p null where nothing had to be tested */
export const sayChance = (p: number | null): string =>
  p === null ? "" : p < 0.0001 ? "p < 0.0001" : `p = ${p.toFixed(4)}`;

/** How many of all comparisons came out the same. */
export const saySame = (same: number, of: number): string =>
  `${same} of ${of === 1 ? "1 comparison" : `${of} comparisons`}: the same.`;
