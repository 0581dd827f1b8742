import type { RunProgress } from "@dyetrace/wire";
import { LONG_RUN_NS, type RunEvidence } from "../account/run-evidence.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { bringBackAgents } from "./bring-back-agents.ts";
import { followAgents } from "./follow-agents.ts";
import { isLeaving, Left } from "./leaving.ts";
import { refuseUnableToFollow, splitByPresence } from "./needed-agents.ts";
import { RunAgents, TimeUp } from "./run-agents.ts";
import type { RunGuard } from "./run-guard.ts";
import { stoppedBy } from "./stop-order.ts";

export const STOPPED_BY_HAND = "stopped by the operator";
const OVER = "the run is over";
const PREPARE_WITHIN_MS = 15_000;
/** From the order to the start: long enough for the order to reach every agent twice over. */
const LEAD_NS = 700e6;
/** What has to be left of it when the start has been written down. */
const LEAST_LEAD_NS = 400e6;
/** After the planned end: the last reports travel; a long run also waits for what its agents had to hold back. */
const REPORT_WITHIN_NS = 4e9;
const LONG_REPORT_WITHIN_NS = 60e9;
/** As long as reports still come, the wait goes on. */
const STILL_COMING_NS = 5e9;
/** Agents try again at least every 5 s; whoever has not come back by then, after a restart of the controller, is lost. */
export const BACK_WITHIN_NS = 12e9;
const MOST_WAIT_NS = 900e9;

/**
 * Carries out a compiled run on the connected agents and gathers what they report. Waiting for a lost agent ends a
 * stated time after the planned end; the evidence says who is missing.
 * @throws {Fault} AGENT_MISSING, AGENT_CANNOT: nothing was sent
 */
export async function conductRun(
  run: CompiledRun,
  registry: AgentRegistry,
  signal: AbortSignal,
  say: (progress: RunProgress) => void,
  onStart: (startNs: number, startedAt: Date) => Promise<void> = async () => {},
  guard: RunGuard | null = null,
): Promise<RunEvidence> {
  const { present, absent } = splitByPresence(run, registry);
  refuseUnableToFollow(run, present, registry);
  const agents = new RunAgents(run, present);
  using followed = followAgents(run, agents, registry, guard);
  const order = (message: Parameters<AgentSession["send"]>[0]): void => {
    for (const agent of present) registry.find(agent)?.send(message);
  };
  say({ kind: "step", text: `Preparing ${present.length} agents` });
  for (const agent of present) {
    const task = run.tasks.get(agent);
    if (task !== undefined) registry.find(agent)?.send({ kind: "prepare", runId: run.runId, task });
  }
  try {
    await agents.until(() => agents.isPrepared(), PREPARE_WITHIN_MS, signal);
    agents.checkPrepared();
  } catch (error) {
    order({
      kind: "abort",
      runId: run.runId,
      reason: "the run could not be prepared",
    });
    throw error;
  }
  const { startNs, startedAt } = await agreeStart(onStart).catch((error: unknown) => {
    order({ kind: "abort", runId: run.runId, reason: "its start could not be written down" });
    throw error;
  });
  order({ kind: "go", runId: run.runId, startControllerNs: startNs });
  say({ kind: "go", startsInMs: LEAD_NS / 1e6, lastsMs: run.endNs / 1e6 });
  agents.begin(startNs);
  const underWay = { run, agents, registry, startNs, startedAt, absent, present };
  return await seeThrough(underWay, signal, say, () => followed.stopReason);
}

/** A start that is written down before it is ordered: whoever takes the run over knows of it then. @throws what `onStart` throws */
async function agreeStart(
  onStart: (startNs: number, startedAt: Date) => Promise<void>,
): Promise<{ readonly startNs: number; readonly startedAt: Date }> {
  for (;;) {
    const startNs = monotonicNs() + LEAD_NS;
    const startedAt = new Date(Date.now() + LEAD_NS / 1e6);
    await onStart(startNs, startedAt);
    if (startNs - monotonicNs() > LEAST_LEAD_NS) return { startNs, startedAt };
  }
}

/** A run under way: by which agents, since when. */
export interface RunUnderWay {
  readonly run: CompiledRun;
  readonly agents: RunAgents;
  readonly registry: AgentRegistry;
  readonly startNs: number;
  readonly startedAt: Date;
  readonly present: readonly string[];
  readonly absent: readonly string[];
}

/** Follows a run that has begun to its end. The caller hands on what they say. */
export async function seeThrough(
  { run, agents, registry, startNs, startedAt, present, absent }: RunUnderWay,
  signal: AbortSignal,
  say: (progress: RunProgress) => void,
  stopReasonOf: () => string | null = () => null,
): Promise<RunEvidence> {
  const order = (reason: string): void => {
    for (const agent of present) registry.find(agent)?.send({ kind: "abort", runId: run.runId, reason });
  };
  const abort = (): void => {
    if (isLeaving(signal)) return;
    agents.end(STOPPED_BY_HAND);
    order(STOPPED_BY_HAND);
  };
  const seconds = setInterval(() => say(agents.progress()), 1000);
  const bringingBack = bringBackAgents(run, agents, registry, startNs);
  signal.addEventListener("abort", abort, { once: true });
  if (signal.aborted) abort();
  try {
    const endNs = startNs + run.endNs;
    const waitNs = run.endNs > LONG_RUN_NS ? LONG_REPORT_WITHIN_NS : REPORT_WITHIN_NS;
    const isOver = (): boolean => {
      if (agents.isFinished() || isLeaving(signal)) return true;
      if ((signal.aborted || stopReasonOf() !== null) && agents.isSilent(2e9)) return true;
      const overNs = monotonicNs() - endNs;
      if (overNs > MOST_WAIT_NS) return true;
      return overNs > waitNs && agents.isSilent(STILL_COMING_NS) && !agents.mayComeBack(BACK_WITHIN_NS);
    };
    await agents.until(isOver, Number.POSITIVE_INFINITY, null);
  } catch (error) {
    if (!(error instanceof TimeUp)) throw error;
  } finally {
    clearInterval(seconds);
    bringingBack[Symbol.dispose]();
    signal.removeEventListener("abort", abort);
    agents.end(OVER);
    if (!isLeaving(signal) && !agents.isFinished()) order(OVER);
  }
  if (isLeaving(signal)) throw new Left();
  const stopReason = stopReasonOf();
  return {
    startedAt,
    endedAt: new Date(),
    agents: agents.evidence(),
    absent,
    isAborted: signal.aborted || stopReason !== null,
    stopReason,
    stoppedBy: stoppedBy(signal),
    isComplete: run.endNs <= LONG_RUN_NS && !agents.isInPieces,
  };
}
