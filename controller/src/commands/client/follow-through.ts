import { setTimeout as sleep } from "node:timers/promises";
import { Fault, formatDurationNs, type RunProgress, type RunReport } from "@dyetrace/wire";
import type { RunFailure } from "@dyetrace/wire/console/run-failure";

/** What of a controller is needed to follow a run. */
export interface RunSource {
  followRun(runId: string): AsyncIterable<RunProgress>;
  get(path: string): Promise<unknown>;
}

export interface Patience {
  /** How long nothing may be heard before a run is given up, ms. */
  readonly awayMs: number;
  readonly retryMs: number;
}

/** A restart takes seconds, an update of the machine below it some minutes (common practice, no source). */
const PATIENCE: Patience = { awayMs: 10 * 60e3, retryMs: 1000 };

export interface ThroughHooks {
  /** Told once each time that the controller is gone. */
  readonly onAway?: () => void;
  /** Told once each time that it answers again. */
  readonly onBack?: () => void;
}

/**
 * A run's progress to its end, also where the controller is restarted meanwhile or the connection breaks: it is asked again
 * until it answers, and told what stands in its store where the run has ended. What was said before may come once more.
 * @throws {Fault} CONTROLLER_UNREACHABLE where it stays away, and whatever it refuses, with the run's id
 */
export async function* followThrough(
  source: RunSource,
  runId: string,
  { onAway, onBack }: ThroughHooks = {},
  { awayMs, retryMs }: Patience = PATIENCE,
): AsyncGenerator<RunProgress> {
  let goneMs: number | null = null;
  for (;;) {
    try {
      for await (const progress of source.followRun(runId)) {
        if (goneMs !== null) onBack?.();
        goneMs = null;
        yield progress;
        if (progress.kind === "done" || progress.kind === "failed") return;
      }
    } catch (error) {
      if (!(error instanceof Fault) || !isPassing(error)) throw named(error, runId);
    }
    const end = await storedEnd(source, runId);
    if (end !== null) {
      yield end;
      return;
    }
    const nowMs = performance.now();
    if (goneMs === null) onAway?.();
    goneMs ??= nowMs;
    if (nowMs - goneMs > awayMs) throw givenUp(runId, awayMs);
    await sleep(retryMs);
  }
}

/** A controller that has just come back may not have taken the run up yet. */
const isPassing = ({ code }: Fault): boolean => code === "CONTROLLER_UNREACHABLE" || code === "RUN_UNKNOWN";

/** @returns null while it goes on, and where nobody can say @throws {Fault} RUN_UNKNOWN where it was never stored */
async function storedEnd(source: RunSource, runId: string): Promise<RunProgress | null> {
  try {
    const { report, failure } = (await source.get(`/api/runs/${runId}`)) as {
      readonly report: RunReport | null;
      readonly failure: RunFailure | null;
    };
    if (report !== null) return { kind: "done", report };
    return failure === null ? null : { kind: "failed", ...failure };
  } catch (error) {
    const isUnsure = error instanceof Fault && /^(CONTROLLER_UNREACHABLE|STORE_)/.test(error.code);
    if (isUnsure) return null;
    throw named(error, runId);
  }
}

const givenUp = (runId: string, awayMs: number): Fault =>
  new Fault(
    "CONTROLLER_UNREACHABLE",
    `The controller has told nothing of run ${runId} for ${formatDurationNs(awayMs * 1e6)}`,
    `Once it is back, \`dyetrace report ${runId}\` tells; its sources stop by themselves at the end of their hold time`,
  );

/** What the controller refuses, with the run's id: it goes on without anybody who looks. */
function named(error: unknown, runId: string): unknown {
  if (!(error instanceof Fault)) return error;
  const { code, message, hint } = error;
  const whatToDo = `Run ${runId} may go on; \`dyetrace report ${runId}\` tells`;
  return new Fault(code, message, hint === "" ? whatToDo : `${hint}. ${whatToDo}`, { cause: error });
}
