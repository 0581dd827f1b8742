import { formatCount, formatDurationNs } from "@dyetrace/wire";
import { Markup, markup } from "./markup.ts";

type Cell = string | number | Markup | null;

/** Unknown is shown as a dash, so that it can't be taken for 0. */
export function table(title: string, head: readonly string[], rows: readonly (readonly Cell[])[]): Markup {
  const align = head.map(
    (_, column) =>
      rows.length > 0 && rows.every((row) => typeof row[column] !== "string" && !(row[column] instanceof Markup)),
  );
  const className = (column: number): Markup | null => (align[column] === true ? markup` class="number"` : null);
  return markup`<section><h2>${title}</h2><div class="scroll"><table><thead><tr>${head.map((name, column) => markup`<th${className(column)}>${name}</th>`)}</tr></thead>
<tbody>${rows.map(
    (row) => markup`<tr>${row.map((cell, column) => markup`<td${className(column)}>${shown(cell)}</td>`)}</tr>
`,
  )}</tbody></table></div></section>`;
}

const shown = (cell: Cell): string | Markup =>
  cell === null ? "–" : typeof cell === "number" ? formatCount(cell) : cell;

export const ms = (value: number | null): string | null => (value === null ? null : formatDurationNs(value * 1e6));
