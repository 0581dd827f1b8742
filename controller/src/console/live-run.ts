import { loadSitePlan } from "@dyetrace/site";
import type { RunOutline, RunProgress } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { LiveHeard, LiveStrip } from "@dyetrace/wire/console/live-second";
import type { RunMessage } from "../agents/agent-session.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import { drawPlan } from "./console-plan.ts";
import { LiveBoard } from "./live-board.ts";

/** The run that is going on, or was the last, as the console shows it. */
export class WatchedRun {
  readonly board: LiveBoard;
  #run: ConsoleRun;
  #startNs: number | null = null;

  /** @param addresses of all agents */
  constructor(runId: string, outline: RunOutline, addresses: ReadonlySet<string>) {
    const graph = loadSitePlan(outline.site.text, outline.site.file);
    this.board = new LiveBoard(outline, graph, addresses);
    this.#run = {
      runId,
      outline,
      drawing: drawPlan(graph),
      stage: "preparing",
      steps: [],
      next: null,
      atMs: null,
      lastsMs: null,
      startedAt: null,
      report: null,
      failure: null,
    };
  }

  get run(): ConsoleRun {
    const atMs = this.#startNs === null ? null : (monotonicNs() - this.#startNs) / 1e6;
    return { ...this.#run, atMs };
  }

  get strips(): readonly LiveStrip[] {
    return this.board.strips();
  }

  get heard(): readonly LiveHeard[] {
    return this.board.heard();
  }

  follow(progress: RunProgress): void {
    switch (progress.kind) {
      case "outline":
        break;
      case "step": {
        const stage = this.#run.stage === "running" ? "concluding" : this.#run.stage;
        this.#run = { ...this.#run, stage, steps: [...this.#run.steps, progress.text] };
        break;
      }
      case "advice":
        this.#run = { ...this.#run, steps: [...this.#run.steps, progress.text] };
        break;
      case "go":
        this.#startNs = monotonicNs() + progress.startsInMs * 1e6;
        this.#run = {
          ...this.#run,
          stage: "running",
          lastsMs: progress.lastsMs,
          startedAt: new Date(Date.now() + progress.startsInMs).toISOString(),
        };
        break;
      case "second":
        this.#run = { ...this.#run, next: progress.next };
        break;
      case "done":
        this.#run = { ...this.#run, stage: "over", next: null, report: progress.report };
        break;
      case "failed": {
        const { code, message, hint } = progress;
        this.#run = { ...this.#run, stage: "over", next: null, failure: { code, message, hint } };
        break;
      }
    }
  }

  take(agent: string, message: RunMessage): void {
    if (message.kind === "report" && message.runId === this.#run.runId) {
      this.board.take(agent, message.report, message.watch);
    }
  }
}
