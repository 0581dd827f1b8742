import { stringify } from "csv-stringify/sync";

/** Unknown is an empty field, never 0. */
export type Cell = string | number | null;

/** RFC 4180, section 2. A text that a spreadsheet would take for a formula gets an apostrophe before it. */
export const csv = (rows: readonly (readonly Cell[])[]): string =>
  stringify([...rows], {
    record_delimiter: "windows",
    escape_formulas: true,
    quoted_match: /[\r\n]/, // with that delimiter a lone one would stand bare
  });
