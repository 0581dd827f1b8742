import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import type { Paint, Tone } from "./terminal-paint.ts";

const TONES: Readonly<Record<string, Tone>> = { pass: "good", fail: "bad", inconclusive: "doubt" };

/** Stored runs, a line each. */
export function renderRuns(runs: readonly RunSummary[], paint: Paint): string {
  if (runs.length === 0) return "No run is stored here yet.\n";
  const rows = runs.map((run) => [
    run.runId,
    (run.startedAt ?? run.startAt ?? run.createdAt).slice(0, 19).replace("T", " "),
    run.verdict ?? run.state,
    run.scenario,
    [run.site, ...run.baselines.map((name) => `baseline:${name}`)].join("  "),
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
