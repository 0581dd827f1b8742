import { formatRatio } from "@dyetrace/wire";
import { failureWords } from "@dyetrace/wire/console/run-failure";
import type { Matrix, Trends } from "@dyetrace/wire/console/run-history";
import type { Baseline, RunSummary } from "@dyetrace/wire/console/stored-run";
import type { Paint, Tone } from "./terminal-paint.ts";
import { dateAndTime } from "./time-of-day.ts";

const TONES: Readonly<Record<string, Tone>> = { pass: "good", fail: "bad", inconclusive: "doubt" };

/** Stored runs, a line each. */
export function renderRuns(runs: readonly RunSummary[], paint: Paint): string {
  if (runs.length === 0) return "No run is stored here yet.\n";
  const rows = runs.map((run) => [
    run.runId,
    dateAndTime(run.startedAt ?? run.startAt ?? run.createdAt),
    run.verdict ?? (run.failure === null ? run.state : failureWords(run.failure)),
    run.scenario,
    [
      run.site,
      ...run.baselines.map((name) => `baseline:${name}`),
      ...run.tags.map((tag) => `tag:${tag}`),
      ...(run.note === null ? [] : [`"${run.note}"`]),
      ...(run.failure === null ? [] : [run.failure.message]),
    ].join("  "),
  ]);
  const widths = [0, 1, 2, 3].map((column) => Math.max(...rows.map((row) => row[column]?.length ?? 0)));
  return rows
    .map((row) =>
      row
        .map((cell, column) => {
          const padded = column < 4 ? cell.padEnd(widths[column] ?? 0) : cell;
          return column === 2 ? paint(padded, TONES[cell] ?? "quiet") : padded;
        })
        .join("  "),
    )
    .map((line) => `${line}\n`)
    .join("");
}

/** Names and what they stand for, a line each. */
export function renderBaselines(named: readonly Baseline[]): string {
  if (named.length === 0) return "No run has a name yet: `dyetrace baseline RUN NAME` gives one.\n";
  const width = Math.max(...named.map(({ name }) => name.length));
  return named
    .map(({ name, runId, namedAt }) => `${name.padEnd(width)}  ${runId}  named ${dateAndTime(namedAt)}\n`)
    .join("");
}

const BARS = "▁▂▃▄▅▆▇█";
const UNKNOWN = "·";

/** A line for each figure: its values as bars from the oldest to the newest run, with the first, the least, the most and the last. */
export function renderTrends({ runs, trends }: Trends, paint: Paint): string {
  const [first, last] = [runs[0], runs.at(-1)];
  if (first === undefined || last === undefined) return "No run with a report is stored here.\n";
  const names = trends.map(({ stream, listener, figure }) =>
    stream === null ? figure : `${figure} of ${stream} at ${listener ?? "everybody"}`,
  );
  const width = Math.max(0, ...names.map((name) => name.length));
  const lines = trends.map(({ values }, i) => {
    const known = values.flatMap((one) => one ?? []);
    const [least, most] = [Math.min(...known), Math.max(...known)];
    const range =
      known.length === 0
        ? "not known"
        : `${numberOf(least)} to ${numberOf(most)}, last ${numberOf(values.at(-1) ?? null)}`;
    return `${(names[i] ?? "").padEnd(width)}  ${barsOf(values, least, most)}  ${range}`;
  });
  const head = `${runs.length} runs from ${dateAndTime(first.startedAt)} to ${dateAndTime(last.startedAt)}, one bar each (${UNKNOWN} is not known)`;
  return [paint(head, "strong"), ...lines, ""].join("\n");
}

const barsOf = (values: readonly (number | null)[], least: number, most: number): string =>
  values
    .map((one) => {
      if (one === null) return UNKNOWN;
      const share = most === least ? 0 : (one - least) / (most - least);
      return BARS[Math.round(share * (BARS.length - 1))] ?? UNKNOWN;
    })
    .join("");

const numberOf = (value: number | null): string =>
  value === null ? "not known" : String(Number(value.toPrecision(4)));

/** A row for each listener, a column for each stream: the share of its packets that was lost on the way. */
export function renderMatrix({ runId, streams, rows }: Matrix, paint: Paint): string {
  const table = rows.map(({ listener, cells }) => [
    listener,
    ...cells.map((cell) => (cell === null ? "" : cell.lossRatio === null ? "not known" : formatRatio(cell.lossRatio))),
  ]);
  const head = ["", ...streams];
  const widths = head.map((name, i) => Math.max(name.length, ...table.map((row) => row[i]?.length ?? 0)));
  const lineOf = (row: readonly string[]): string =>
    row
      .map((cell, i) => cell.padEnd(widths[i] ?? 0))
      .join("  ")
      .trimEnd();
  return [
    paint(`Lost on the way in run ${runId}; empty: not to receive it`, "strong"),
    lineOf(head),
    ...table.map(lineOf),
    "",
  ].join("\n");
}
