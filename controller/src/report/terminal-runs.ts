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
    run.verdict ?? run.state,
    run.scenario,
    [
      run.site,
      ...run.baselines.map((name) => `baseline:${name}`),
      ...run.tags.map((tag) => `tag:${tag}`),
      ...(run.note === null ? [] : [`"${run.note}"`]),
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
