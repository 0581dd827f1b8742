import { MEDIA_METHOD, mediaRows, type RunReport } from "@dyetrace/wire";
import { table } from "./html-table.ts";
import { type Markup, markup } from "./markup.ts";
import { type Paint, wrap } from "./terminal-paint.ts";

/** What viewers of followed streams would have noticed. */
export function htmlMedia(report: RunReport): Markup | null {
  const rows = mediaRows(report);
  if (rows.length === 0) return null;
  const told = table(
    "What viewers would have noticed",
    ["Stream", "Listener", "Error-free seconds", "Troubles", "Program clock", "Tables apart (program / map)"],
    rows.map(({ stream, listener, errorFree, troubles, clock, tables }) => [
      stream,
      listener,
      errorFree,
      troubles,
      clock,
      tables,
    ]),
  );
  return markup`${told}${MEDIA_METHOD.map((sentence) => markup`<p class="quiet">${sentence}</p>`)}`;
}

const SAID_OF_HEADERS: Readonly<Record<string, string>> = {
  none: "no trouble in its headers",
  unknown: "its headers tell nothing",
};

/** Listeners that are listed; the page has the rest. */
const MOST_ROWS = 12;

/** What viewers of followed streams would have noticed, the worst first. */
export function terminalMedia(report: RunReport, paint: Paint): string[] {
  const rows = mediaRows(report);
  if (rows.length === 0) return [];
  const shown = rows.slice(0, MOST_ROWS);
  const rest = rows.length - shown.length;
  return [
    "",
    paint("What viewers would have noticed", "strong"),
    ...shown.flatMap(({ stream, listener, errorFree, troubles, clock }) =>
      wrap(
        [
          `${stream} at ${listener}: ${SAID_OF_HEADERS[troubles] ?? troubles}`,
          errorFree === null ? null : `${errorFree} seconds without a loss`,
          clock === null ? null : `program clock ${clock}`,
        ]
          .filter((one) => one !== null)
          .join("; "),
        "  ",
      ),
    ),
    ...(rest > 0 ? [paint(`  and ${rest} more, which the page has`, "quiet")] : []),
  ];
}
