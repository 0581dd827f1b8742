import { EventEmitter } from "node:events";
import { Fault, type RunProgress, type RunReport } from "@dyetrace/wire";

import { LEAVING } from "../conduct/leaving.ts";

/** One run, as the registry keeps it: everything that was said about it so far, and its report at the end. */
export interface RunRecord {
  readonly id: string;
  readonly progress: readonly RunProgress[];
  readonly report: RunReport | null;
  readonly isRunning: boolean;
}

interface OpenRun extends RunRecord {
  progress: RunProgress[];
  report: RunReport | null;
  isRunning: boolean;
  readonly abort: AbortController;
  /** Resolves when it is no longer going on, however it ended. */
  over: Promise<void>;
  readonly followers: EventEmitter<{ progress: [RunProgress] }>;
}

export type RunJob = (signal: AbortSignal, say: (progress: RunProgress) => void) => Promise<RunReport>;

/** Runs kept in memory for later look-ups. */
const KEPT_RUNS = 50;

/** One run at a time: two runs on one site would load each other's segments and blame each other's traffic. */
export class RunRegistry extends EventEmitter<{ progress: [runId: string, progress: RunProgress] }> {
  readonly #runs = new Map<string, OpenRun>();

  /**
   * Starts a job and returns at once.
   * @throws {Fault} RUN_BUSY while another run is going on
   */
  start(id: string, job: RunJob): void {
    const busy = this.#busy();
    if (busy !== undefined) {
      throw new Fault("RUN_BUSY", `Run ${busy.id} is going on`, "Wait for its end, or abort it first");
    }
    const run: OpenRun = {
      id,
      progress: [],
      report: null,
      isRunning: true,
      abort: new AbortController(),
      over: Promise.resolve(),
      followers: new EventEmitter(),
    };
    run.followers.setMaxListeners(0);
    this.#runs.set(id, run);
    const say = (progress: RunProgress): void => {
      run.progress.push(progress);
      run.followers.emit("progress", progress);
      this.emit("progress", id, progress);
    };
    run.over = job(run.abort.signal, say).then(
      (report) => {
        run.report = report;
        run.isRunning = false;
        say({ kind: "done", report });
      },
      (error: unknown) => {
        run.isRunning = false;
        const fault = error instanceof Fault ? error : null;
        const message = fault?.message ?? `The controller failed: ${String(error)}`;
        say({
          kind: "failed",
          code: fault?.code ?? "INTERNAL",
          message,
          hint: fault?.hint ?? "",
        });
      },
    );
    while (this.#runs.size > KEPT_RUNS) {
      const oldest = [...this.#runs.values()].find((candidate) => !candidate.isRunning);
      if (oldest === undefined) break;
      this.#runs.delete(oldest.id);
    }
  }

  /** Resolves when no run is going on. */
  async untilIdle(): Promise<void> {
    for (let busy = this.#busy(); busy !== undefined; busy = this.#busy()) await busy.over;
  }

  list(): readonly RunRecord[] {
    return [...this.#runs.values()];
  }

  /** @throws {Fault} RUN_UNKNOWN */
  find(id: string): RunRecord {
    return this.#find(id);
  }

  abort(id: string): void {
    this.#find(id).abort.abort();
  }

  /** Lets go of every run without ending it. */
  leaveAll(): void {
    for (const run of this.#runs.values()) run.abort.abort(LEAVING);
  }

  /** Ends every run that is going on, as its abort would. */
  abortAll(): void {
    for (const run of this.#runs.values()) run.abort.abort();
  }

  /** Everything said so far, then everything as it is said, until the run is over. */
  async *follow(id: string, signal: AbortSignal): AsyncGenerator<RunProgress> {
    const run = this.#find(id);
    for (let next = 0; ; ) {
      const progress = run.progress[next];
      if (progress !== undefined) {
        next++;
        yield progress;
        if (progress.kind === "done" || progress.kind === "failed") return;
      } else {
        await new Promise<void>((resolve, reject) => {
          const done = (): void => {
            signal.removeEventListener("abort", stop);
            resolve();
          };
          const stop = (): void => {
            run.followers.off("progress", done);
            reject(signal.reason as Error);
          };
          signal.addEventListener("abort", stop, { once: true });
          run.followers.once("progress", done);
        });
      }
    }
  }

  #busy(): OpenRun | undefined {
    return [...this.#runs.values()].find((run) => run.isRunning);
  }

  #find(id: string): OpenRun {
    const run = this.#runs.get(id);
    if (run === undefined) throw new Fault("RUN_UNKNOWN", `There is no run ${id} here`, "`dyetrace runs` lists them");
    return run;
  }
}
