import type { SiteGraph } from "@dyetrace/site";
import { Fault, faultCodeOf, formatCount, type RunReport, type RunRequest } from "@dyetrace/wire";
import { junitOfRun } from "../../report/junit-report.ts";
import { paintFor } from "../../report/terminal-paint.ts";
import { renderReport } from "../../report/terminal-report.ts";
import { writeUserFile } from "../arguments/write-user-file.ts";
import type { ControllerClient } from "./controller-client.ts";
import { followThrough } from "./follow-through.ts";

export interface FollowHooks {
  /** The run's own time begins in this many milliseconds. */
  readonly onGo?: (startsInMs: number) => void;
  /** Set to stop the run: its sources stop, and the report covers what was measured. */
  readonly signal?: AbortSignal;
}

const BAR_COLUMNS = 30;

/**
 * Starts a run, shows how it goes on stderr, and returns its report. A restart of the controller does not end it.
 * @throws {Fault} if it could not run, or where the controller does not come back
 */
export async function followRun(
  client: ControllerClient,
  request: RunRequest,
  hooks: FollowHooks = {},
): Promise<RunReport> {
  const runId = await client.startRun(request);
  const stop = (): void => void client.abortRun(runId).catch(() => {});
  hooks.signal?.addEventListener("abort", stop, { once: true });
  const line = new StatusLine();
  line.say(`Run ${runId}`);
  const through = {
    onAway: () => line.say("The controller does not answer; trying again (the agents go on within their hold time)"),
    onBack: () => {
      line.say("The controller answers again");
      if (hooks.signal?.aborted === true) stop(); // the first word may not have reached it
    },
  };
  const said = new Set<string>();
  const sayOnce = (text: string): void => {
    if (!said.has(text)) line.say(text);
    said.add(text);
  };
  let lastsMs = 0;
  try {
    for await (const progress of followThrough(client, runId, through)) {
      switch (progress.kind) {
        case "step":
          sayOnce(progress.text);
          break;
        case "advice":
          sayOnce(`Advice on groups (${progress.level}): ${progress.text} (${progress.reference})`);
          break;
        case "go":
          if (lastsMs === 0) hooks.onGo?.(progress.startsInMs);
          lastsMs = progress.lastsMs;
          sayOnce(`Running for ${(lastsMs / 1000).toFixed(0)} s`);
          break;
        case "second": {
          const share = Math.min(1, Math.max(0, progress.atMs / lastsMs));
          const bar = "▪".repeat(Math.round(share * BAR_COLUMNS)).padEnd(BAR_COLUMNS, "·");
          const next =
            progress.next === null ? "" : `; ${progress.next.what} in ${Math.ceil(progress.next.inMs / 1000)} s`;
          line.show(
            `${bar} ${(progress.atMs / 1000).toFixed(0)} s, ${formatCount(progress.receivedPackets)} packets received${next}`,
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
  throw new Error(`Run ${runId} was followed to no end`);
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
