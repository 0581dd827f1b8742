import { DEFAULT_HOLD_NS } from "@dyetrace/wire";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession, RunMessage } from "../agents/agent-session.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { RunAgents } from "./run-agents.ts";
import type { RunGuard } from "./run-guard.ts";

/** What the agents of one run say, and whether one of them is gone, told to whoever has to know. */
export interface FollowedAgents extends Disposable {
  /** Why the guard stopped the run; null while it has not. */
  readonly stopReason: string | null;
  /** Looks at which of these are not connected, after a controller was restarted: nobody told it that they were gone. */
  missAbsent(expected: Iterable<string>): void;
}

/** While it is held, this controller conducts the run: agents that are busy with it are left to it. */
export function followAgents(
  run: CompiledRun,
  agents: RunAgents,
  registry: AgentRegistry,
  guard: RunGuard | null,
): FollowedAgents {
  let stopReason: string | null = null;
  const stop = (reason: string | null): void => {
    if (reason === null || stopReason !== null) return;
    stopReason = reason;
    agents.end(reason);
    for (const agent of run.tasks.keys()) registry.find(agent)?.send({ kind: "abort", runId: run.runId, reason });
  };
  const onMessage = (session: AgentSession, message: RunMessage): void => {
    agents.take(session, message);
    if (guard === null || message.kind !== "report" || message.runId !== run.runId) return;
    if (run.tasks.has(session.name)) stop(guard.onReport(session.name, message));
  };
  const miss = (agent: string): void => {
    if (guard === null || !agents.isUnderWay(agent)) return;
    stop(guard.onGone(agent, agents.sinceStartNs, run.scenario.holdNs > DEFAULT_HOLD_NS));
  };
  const onGone = (session: AgentSession): void => {
    agents.lost(session.name);
    miss(session.name);
  };
  registry.on("message", onMessage);
  registry.on("gone", onGone);
  registry.conducted.set(run.runId, run.partOf ?? run.runId);
  return {
    get stopReason() {
      return stopReason;
    },
    missAbsent: (expected) => {
      for (const agent of expected) {
        if (registry.find(agent) !== undefined) continue;
        agents.lost(agent);
        miss(agent);
      }
    },
    [Symbol.dispose]: () => {
      registry.off("message", onMessage);
      registry.off("gone", onGone);
      registry.conducted.delete(run.runId);
    },
  };
}
