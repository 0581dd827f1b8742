import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession, RunMessage } from "../agents/agent-session.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { RunAgents } from "./run-agents.ts";

/** An agent that comes back this shortly before the end has nothing left to do. */
const NEARLY_OVER_NS = 3e9;

/**
 * Brings agents back to a run that has begun: those that were restarted, and sources that stopped because they had not
 * heard their controller for too long. Once the run is being stopped, whoever comes back from it is told so instead: it was
 * away when the others were told, and its source would go on. Ends with `Symbol.dispose`.
 */
export function bringBackAgents(
  run: CompiledRun,
  agents: RunAgents,
  registry: AgentRegistry,
  startNs: number,
): Disposable {
  const revived = new Set<string>();
  const bringBack = (session: AgentSession): void => {
    const task = run.tasks.get(session.name);
    const leftNs = startNs + run.endNs - monotonicNs();
    if (task === undefined || !agents.isUnderWay(session.name) || leftNs < NEARLY_OVER_NS) return;
    session.send({ kind: "resume", runId: run.runId, task, startControllerNs: startNs });
  };
  const onConnected = (session: AgentSession): void => {
    const reason = agents.endReason;
    // Whoever is at it all the time passes over it; one that was prepared, and never told to begin, does not.
    if (reason === null) bringBack(session);
    if (reason !== null && session.runId === run.runId) session.send({ kind: "abort", runId: run.runId, reason });
  };
  const onMessage = (session: AgentSession, message: RunMessage): void => {
    if (message.kind !== "report" || message.runId !== run.runId || revived.has(message.stint)) return;
    const { sourcesStopped, totals } = message.report;
    if (sourcesStopped?.why !== "hold-time" || totals !== null || agents.endReason !== null) return;
    revived.add(message.stint);
    bringBack(session);
  };
  const onRegained = (runId: string): void => {
    if (runId === run.runId) for (const session of registry.list()) onConnected(session);
  };
  registry.on("connected", onConnected);
  registry.on("message", onMessage);
  registry.on("regained", onRegained);
  return {
    [Symbol.dispose]: () => {
      registry.off("regained", onRegained);
      registry.off("connected", onConnected);
      registry.off("message", onMessage);
    },
  };
}
