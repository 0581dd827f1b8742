import { formatDurationNs, formatRatio, type Night, type RunReport } from "@dyetrace/wire";
import { type Paint, wrap } from "./terminal-paint.ts";
import { timeOfDay, zoneAt } from "./time-of-day.ts";
import { worstStrips } from "./worst-strips.ts";

/** Strips that are shown; the ones with most loss first. */
const MOST_STRIPS = 12;
const BLOCKS: Readonly<Record<string, string>> = { ".": " ", "-": "▁", "1": "▂", "2": "▄", "3": "▆", "4": "█" };

/** The morning's summary: what a tired reader takes in within a minute. */
export function renderNight(night: Night, paint: Paint): string {
  const { received, lost, strips, worst, patterns } = night;
  const share =
    received + lost === 0
      ? "nothing measured"
      : lost === 0
        ? paint("nothing lost", "good")
        : paint(`${lost} packets lost (${formatRatio(lost / (received + lost))})`, "bad");
  const lines = [
    "",
    `${paint(night.site, "strong")} · ${night.scenario} · ${formatDurationNs(night.untilMs * 1e6)}${night.isOver ? "" : " so far"}`,
    `  ${received} packets received, ${share}; ${night.incidents.length} incidents`,
    "",
    `  each cell ${formatDurationNs(night.cellMs * 1e6)}: ▁ whole  ▂ under 0.01 % lost  ▄ 0.1 %  ▆ 1 %  █ more  (blank) not measured`,
  ];
  const shown = worstStrips(night, MOST_STRIPS);
  const width = Math.max(0, ...shown.map(({ stream, listener }) => stream.length + listener.length + 4));
  for (const { stream, listener, cells } of shown) {
    lines.push(
      `  ${`${stream} at ${listener}`.padEnd(width)}  ${[...cells].map((cell) => BLOCKS[cell] ?? "?").join("")}`,
    );
  }
  if (strips.length > shown.length)
    lines.push(paint(`  and ${strips.length - shown.length} more with less loss`, "quiet"));
  if (worst.length > 0)
    lines.push(
      "",
      paint(`Worst incidents (${zoneAt(night.startedAt)})`, "strong"),
      ...worst.map(({ fromMs, title }) => `  ${timeOfDay(night.startedAt, fromMs)}  ${title}`),
    );
  if (patterns.length > 0)
    lines.push("", paint("Patterns", "strong"), ...patterns.map(({ sentence }) => `  ${sentence}`));
  lines.push("", paint(`run ${night.runId}`, "quiet"), "");
  return lines.join("\n");
}

/** Incidents that are listed; the page and the summary have the rest. */
const MOST_INCIDENTS = 10;

export function renderIncidents({ incidents = [], startedAt }: RunReport, paint: Paint): string[] {
  if (incidents.length === 0) return [];
  const rest = incidents.length - MOST_INCIDENTS;
  return [
    "",
    paint(`Incidents (${zoneAt(startedAt)})`, "strong"),
    ...incidents
      .slice(0, MOST_INCIDENTS)
      .flatMap(({ fromMs, title }) => wrap(`${timeOfDay(startedAt, fromMs)}  ${title}`, "  ")),
    ...(rest > 0 ? [paint(`  and ${rest} more, which --html, --json and --incidents-csv have`, "quiet")] : []),
  ];
}
