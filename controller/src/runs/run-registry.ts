import { EventEmitter } from "node:events";
import { Fault, type RunProgress, type RunReport } from "@dyetrace/wire";

import { LEAVING, Left } from "../conduct/leaving.ts";
import { StopOrder } from "../conduct/stop-order.ts";

/** One run, as the registry keeps it: everything that was said about it so far, and its report at the end. */
export interface RunRecord {
  readonly id: string;
  readonly progress: readonly RunProgress[];
  readonly report: RunReport | null;
  readonly isRunning: boolean;
}

/** What a run has to itself while it goes on. */
export interface RunPlace {
  readonly site: string;
  readonly agents: ReadonlySet<string>;
}

interface OpenRun extends RunRecord {
  progress: RunProgress[];
  report: RunReport | null;
  isRunning: boolean;
  /** Another controller conducts it, and this one passes on what it hears of it. */
  isElsewhere: boolean;
  place: RunPlace | null;
  readonly abort: AbortController;
  /** Resolves when it is no longer going on, however it ended. */
  over: Promise<void>;
  readonly followers: EventEmitter<{ progress: [RunProgress] }>;
}

export type RunJob = (signal: AbortSignal, say: (progress: RunProgress) => void) => Promise<RunReport>;

/** Runs kept in memory for later look-ups. */
const KEPT_RUNS = 50;

export interface RegistryEvents {
  progress: [runId: string, progress: RunProgress];
  /** Of a run that another controller conducts. */
  mirrored: [runId: string, progress: RunProgress];
}

/**
 * One run at a time: two runs on one site would load each other's segments and blame each other's traffic. Only where several
 * controllers share a store, which may have to take each other's runs, one at a time at each site, and for each agent.
 */
export class RunRegistry extends EventEmitter<RegistryEvents> {
  readonly #runs = new Map<string, OpenRun>();
  readonly #isShared: boolean;

  constructor(isShared = false) {
    super();
    this.#isShared = isShared;
  }

  /** @throws {Fault} RUN_BUSY while another run is going on there */
  refuseBusy(place: RunPlace): void {
    const busy = this.#busy(place);
    if (busy === undefined) return;
    throw new Fault("RUN_BUSY", `Run ${busy.id} is going on`, "Wait for its end, or abort it first");
  }

  /**
   * Starts a job and returns at once.
   * @throws {Fault} RUN_BUSY while another run is going on there
   */
  start(id: string, job: RunJob, place: RunPlace): void {
    this.refuseBusy(place);
    const run = this.#open(id);
    run.isElsewhere = false;
    run.place = place;
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
        if (this.#isShared && error instanceof Left) {
          run.isElsewhere = true; // whoever follows it hears of it from its next conductor
          return;
        }
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
  }

  /** Passes on what another controller says of a run that it conducts. */
  mirror(id: string, progress: RunProgress): void {
    const known = this.#runs.get(id);
    if (known?.isElsewhere === false && known.isRunning) return; // it is conducted here by now
    const run = known ?? this.#open(id);
    run.isElsewhere = true;
    run.progress.push(progress);
    if (progress.kind === "done") run.report = progress.report;
    run.isRunning = progress.kind !== "done" && progress.kind !== "failed";
    run.followers.emit("progress", progress);
    this.emit("mirrored", id, progress);
  }

  #open(id: string): OpenRun {
    const known = this.#runs.get(id);
    if (known?.isElsewhere === true) return known;
    const run: OpenRun = {
      id,
      progress: [],
      report: null,
      isRunning: true,
      isElsewhere: true,
      place: null,
      abort: new AbortController(),
      over: Promise.resolve(),
      followers: new EventEmitter(),
    };
    run.followers.setMaxListeners(0);
    this.#runs.set(id, run);
    while (this.#runs.size > KEPT_RUNS) {
      const oldest = [...this.#runs.values()].find((one) => !one.isRunning || (one.isElsewhere && one !== run));
      if (oldest === undefined) break;
      this.#runs.delete(oldest.id);
    }
    return run;
  }

  /** Resolves when no run is going on. */
  async untilIdle(): Promise<void> {
    for (let busy = this.#busy(null); busy !== undefined; busy = this.#busy(null)) await busy.over;
  }

  /** Runs of this controller. */
  list(): readonly RunRecord[] {
    return [...this.#runs.values()].filter(({ isElsewhere }) => !isElsewhere);
  }

  /** The run that an agent takes part in now; null: none of this controller's. */
  ofAgent(agent: string): string | null {
    for (const { id, isRunning, place } of this.#runs.values()) {
      if (isRunning && place?.agents.has(agent) === true) return id;
    }
    return null;
  }

  /** Lets go of a run without ending it: another controller conducts it. */
  leave(id: string): void {
    this.#runs.get(id)?.abort.abort(LEAVING);
  }

  /** @throws {Fault} RUN_UNKNOWN */
  find(id: string): RunRecord {
    return this.#find(id);
  }

  /** @param by who orders it, in words that follow "by"; null: it is not known */
  abort(id: string, by: string | null): void {
    this.#find(id).abort.abort(new StopOrder(by));
  }

  /** Lets go of every run without ending it. */
  leaveAll(): void {
    for (const run of this.#runs.values()) run.abort.abort(LEAVING);
  }

  /** Ends every run that is going on, as its abort would. */
  abortAll(by: string | null): void {
    for (const run of this.#runs.values()) run.abort.abort(new StopOrder(by));
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

  /** @param place null: anywhere */
  #busy(place: RunPlace | null): OpenRun | undefined {
    return [...this.#runs.values()].find((run) => {
      if (!run.isRunning || run.isElsewhere) return false;
      if (!this.#isShared || place === null || run.place === null) return true;
      return run.place.site === place.site || [...place.agents].some((agent) => run.place?.agents.has(agent) === true);
    });
  }

  #find(id: string): OpenRun {
    const run = this.#runs.get(id);
    if (run === undefined) throw new Fault("RUN_UNKNOWN", `There is no run ${id} here`, "`dyetrace runs` lists them");
    return run;
  }
}
