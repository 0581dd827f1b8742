import type { SiteGraph } from "@dyetrace/site";
import { Fault, faultCodeOf, type RunReport, type RunRequest } from "@dyetrace/wire";
import { junitOfRun } from "../../report/junit-report.ts";
import { paintFor } from "../../report/terminal-paint.ts";
import { renderReport } from "../../report/terminal-report.ts";
import { writeUserFile } from "../arguments/write-user-file.ts";
import type { ControllerClient } from "./controller-client.ts";

export interface FollowHooks {
  /** The run's own time begins in this many milliseconds. */
  readonly onGo?: (startsInMs: number) => void;
  /** Set to stop the run: its sources stop, and the report covers what was measured. */
  readonly signal?: AbortSignal;
}

const BAR_COLUMNS = 30;

/** Starts a run, shows how it goes on stderr, and returns its report. @throws {Fault} if it could not run */
export async function followRun(
  client: ControllerClient,
  request: RunRequest,
  hooks: FollowHooks = {},
): Promise<RunReport> {
  const runId = await client.startRun(request);
  const stop = (): void => void client.abortRun(runId).catch(() => {});
  hooks.signal?.addEventListener("abort", stop, { once: true });
  const line = new StatusLine();
  let lastsMs = 0;
  try {
    for await (const progress of client.followRun(runId)) {
      switch (progress.kind) {
        case "step":
          line.say(progress.text);
          break;
        case "advice":
          line.say(`Advice on groups (${progress.level}): ${progress.text} (${progress.reference})`);
          break;
        case "go":
          lastsMs = progress.lastsMs;
          line.say(`Running for ${(lastsMs / 1000).toFixed(0)} s`);
          hooks.onGo?.(progress.startsInMs);
          break;
        case "second": {
          const share = Math.min(1, Math.max(0, progress.atMs / lastsMs));
          const bar = "▪".repeat(Math.round(share * BAR_COLUMNS)).padEnd(BAR_COLUMNS, "·");
          const next =
            progress.next === null ? "" : `; ${progress.next.what} in ${Math.ceil(progress.next.inMs / 1000)} s`;
          line.show(
            `${bar} ${(progress.atMs / 1000).toFixed(0)} s, ${progress.receivedPackets} packets received${next}`,
          );
          break;
        }
        case "done":
          line.clear();
          return progress.report;
        case "failed":
          line.clear();
          throw new Fault(faultCodeOf(progress.code), progress.message, progress.hint);
      }
    }
  } finally {
    hooks.signal?.removeEventListener("abort", stop);
    line.clear();
  }
  throw new Fault("CONTROLLER_UNREACHABLE", "The controller went away during the run", "Look at its log");
}

export interface ReportFiles {
  /** `-` is standard output, and then nothing else is printed there. */
  readonly json?: string;
  readonly junit?: string;
}

/** @throws {Fault} FILE_UNREADABLE */
export function deliverReport(report: RunReport, graph: SiteGraph, { json, junit }: ReportFiles = {}): void {
  if (json !== undefined) writeUserFile(json, `${JSON.stringify(report, null, 2)}\n`);
  if (junit !== undefined) writeUserFile(junit, junitOfRun(report));
  if (json !== "-") process.stdout.write(renderReport(report, graph, paintFor(process.stdout)));
}

/** One line on stderr that is written over on a terminal; elsewhere only the steps are printed. */
class StatusLine {
  #isDirty = false;

  say(text: string): void {
    this.clear();
    process.stderr.write(`${text}\n`);
  }

  show(text: string): void {
    if (process.stderr.isTTY !== true) return;
    process.stderr.write(`\r\x1b[2K${text}`);
    this.#isDirty = true;
  }

  clear(): void {
    if (this.#isDirty) process.stderr.write("\r\x1b[2K");
    this.#isDirty = false;
  }
}
