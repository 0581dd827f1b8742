import { type DelayLine, delayTables } from "@dyetrace/measure";
import { formatDurationNs, type RunReport } from "@dyetrace/wire";
import { ms, table } from "./html-table.ts";
import { type Markup, markup } from "./markup.ts";
import type { Paint } from "./terminal-paint.ts";

/** Listeners that the terminal lists for joins and for leaves; the page has the rest. */
const MOST_LINES = 6;

/** How long joins and leaves took, the slowest listeners first. */
export function terminalDelays(report: RunReport, paint: Paint): string[] {
  const span = (value: number | null): string => (value === null ? "unknown" : formatDurationNs(value * 1e6));
  return delayTables(report).flatMap(({ what, limit, isMet, lines }) => {
    const shown = lines.slice(0, MOST_LINES).map((line) => ({
      who: `${line.stream} at ${line.listener ?? "all together"}`,
      says: [
        ...(line.trials === 0
          ? []
          : [
              `median ${span(line.medianMs)}, 95 % ${span(line.p95Ms)}, longest ${span(line.maxMs)}, n = ${line.trials}`,
            ]),
        ...(line.atLeastMs === null ? [] : [`at least ${span(line.atLeastMs)}, to the end`]),
      ].join("; "),
    }));
    const width = Math.max(...shown.map(({ who }) => who.length));
    const rest = lines.length - shown.length;
    return [
      "",
      paint(title(what, limit, isMet), "strong"),
      ...shown.map(({ who, says }) => `  ${who.padEnd(width)}  ${says}`),
      ...(rest > 0 ? [paint(`  and ${rest} more`, "quiet")] : []),
    ];
  });
}

function title(what: "join" | "leave", limit: string | null, isMet: boolean | null): string {
  const kept = isMet === null ? "not judged" : isMet ? "met" : "not met";
  return `${what === "join" ? "Joins" : "Leaves"} took${limit === null ? "" : ` (at most ${limit}: ${kept})`}`;
}

/** The same for the page: each as a stroke, with the limit, and the figures beside it. */
export function htmlDelays(report: RunReport): Markup | null {
  const tables = delayTables(report);
  if (tables.length === 0) return null;
  return markup`${tables.map(({ what, limit, limitMs, isMet, lines }) => {
    const most = Math.max(1, limitMs ?? 0, ...lines.map((line) => Math.max(line.maxMs ?? 0, line.atLeastMs ?? 0)));
    return table(
      title(what, limit, isMet),
      ["Stream", "Listener", `Each, 0 to ${ms(most)}`, "Median", "95 %", "Longest", "At least, to the end", "Number"],
      lines.map((line) => [
        line.stream,
        line.listener ?? "all together",
        delayStrip(line, most, limitMs),
        ms(line.medianMs),
        ms(line.p95Ms),
        ms(line.maxMs),
        ms(line.atLeastMs),
        line.trials,
      ]),
    );
  })}`;
}

/** Units across a strip. */
const STRIP = 220;

function delayStrip({ valuesMs, atLeastMs }: DelayLine, most: number, limitMs: number | null): Markup {
  const at = (value: number): string => (Math.min(1, value / most) * (STRIP - 2)).toFixed(1);
  return markup`<svg class="strip" viewBox="0 0 ${STRIP} 16" preserveAspectRatio="none"><title>${valuesMs.length} values</title>
${atLeastMs === null ? null : markup`<rect class="loss" x="0" y="6" width="${at(atLeastMs)}" height="4"/>`}
${valuesMs.map((value) => markup`<rect class="value" x="${at(value)}" y="2" width="2" height="12"/>`)}
${limitMs === null ? null : markup`<rect class="limit" x="${at(limitMs)}" y="0" width="1" height="16"><title>limit</title></rect>`}</svg>`;
}
