import { formatDurationNs, type Night, type RunReport } from "@dyetrace/wire";
import { axisMarks, chanceWords, countedWords, harmWords, unwatchedWords } from "./html-night.ts";
import { type Paint, wrap } from "./terminal-paint.ts";
import { dateAndTime, timeOfDay, zoneAt } from "./time-of-day.ts";

/** Strips that are shown: the listeners who were longest without a stream. */
const MOST_STRIPS = 12;
const MOST_LINES = 12;
const BLOCKS: Readonly<Record<string, string>> = {
  ...{ ".": " ", "?": "?", "-": "▁", "1": "▂", "2": "▄", "3": "▆", "4": "▇", "5": "█" },
};
/** `02:00` and a space. */
const MARK_COLUMNS = 8;

/** The morning's summary: what a tired reader takes in within a minute. */
export function renderNight(night: Night, paint: Paint): string {
  const { received, lost, worst, patterns, summarised, startedAt } = night;
  const tone =
    lost === null || night.followsOthers === true || (received ?? 0) + lost === 0 ? null : lost === 0 ? "good" : "bad";
  const counted = countedWords(night);
  const title = `${paint(night.site, "strong")} · ${night.scenario} · from ${dateAndTime(startedAt)}, ${formatDurationNs(night.untilMs * 1e6)}${night.isOver ? "" : " so far"}`;
  return [
    "",
    title,
    ...wrap(night.headline, "  "),
    `  ${tone === null ? counted : paint(counted, tone)}`,
    ...section(
      `Worst first, by time without a stream, added up over listeners (times in ${zoneAt(startedAt)})`,
      worst.flatMap((one) => {
        const { fromMs, toMs, title: what } = one;
        return wrap(
          `${timeOfDay(startedAt, fromMs)} to ${timeOfDay(startedAt, toMs)}  ${harmWords(one)}: ${what}`,
          "  ",
          "      ",
        );
      }),
      paint,
    ),
    ...strips(night, paint),
    ...section(
      "Patterns",
      patterns.flatMap(({ sentence, p }) => wrap(`${sentence} (${chanceWords(p)})`, "  ")),
      paint,
    ),
    ...section(
      "Not watched",
      cut(unwatchedWords(night)).flatMap((line) => wrap(line, "  ")),
      paint,
    ),
    ...section(
      "Summed up",
      cut(summarised).flatMap((line) => wrap(line, "  ")),
      paint,
    ),
    "",
    paint(`run ${night.runId}`, "quiet"),
    "",
  ].join("\n");
}

const section = (heading: string, lines: readonly string[], paint: Paint): string[] =>
  lines.length === 0 ? [] : ["", paint(heading, "strong"), ...lines];

const cut = (lines: readonly string[]): readonly string[] =>
  lines.length <= MOST_LINES
    ? lines
    : [...lines.slice(0, MOST_LINES), `and ${lines.length - MOST_LINES} more, which --json has`];

/** One line for each listener over a time axis. */
function strips(night: Night, paint: Paint): string[] {
  const shown = night.listeners.slice(0, MOST_STRIPS);
  if (shown.length === 0) return [];
  const width = Math.max(...shown.map(({ listener }) => listener.length));
  const cells = Math.max(...shown.map((one) => one.cells.length));
  const rest = night.listeners.length - shown.length;
  return [
    "",
    paint(`Listeners (times in ${zoneAt(night.startedAt)})`, "strong"),
    `  ${" ".repeat(width)}  ${axis(night, cells)}`,
    ...shown.map(
      (one) => `  ${one.listener.padEnd(width)}  ${[...one.cells].map((cell) => BLOCKS[cell] ?? " ").join("")}`,
    ),
    paint(
      `  each cell ${formatDurationNs(night.cellMs * 1e6)}: ▁ all came, ▂ under 0.01 % did not, ▄ 0.1 %, ▆ 1 %, ▇ more, █ nothing came,`,
      "quiet",
    ),
    paint("  ? all that was measured came and a part was not measured, (blank) nothing was measured", "quiet"),
    ...(rest > 0
      ? [paint(`  and ${rest} more listeners, which were without a stream for a shorter time`, "quiet")]
      : []),
  ];
}

function axis(night: Night, cells: number): string {
  let line = "";
  for (const { cell, atMs } of axisMarks(night, Math.max(1, Math.floor(cells / MARK_COLUMNS)))) {
    const column = Math.round(cell);
    if (column >= line.length) line = `${line.padEnd(column)}|${timeOfDay(night.startedAt, atMs).slice(0, 5)} `;
  }
  return line.trimEnd();
}

/** Incidents that are listed; the page and the summary have the rest. */
const MOST_INCIDENTS = 10;

export function renderIncidents({ incidents = [], startedAt, run }: RunReport, paint: Paint): string[] {
  if (incidents.length === 0) return [];
  const rest = incidents.length - MOST_INCIDENTS;
  return [
    "",
    paint(`Incidents (${zoneAt(startedAt)})`, "strong"),
    ...incidents
      .slice(0, MOST_INCIDENTS)
      .flatMap(({ fromMs, title }) => wrap(`${timeOfDay(startedAt, fromMs)}  ${title}`, "  ")),
    ...(rest > 0 ? [paint(`  and ${rest} more, which --html, --json and --incidents-csv have`, "quiet")] : []),
    paint(`  \`dyetrace report ${run} --summary\` has the worst first, and the whole time as strips`, "quiet"),
  ];
}
