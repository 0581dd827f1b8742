import type { AgentRegistry } from "../agents/agent-registry.ts";

/**
 * Tells agents to end a run that nobody here conducts: those that came with it.
 * @returns how many were told
 */
export function stopStrayRun(registry: AgentRegistry, runId: string, reason: string): number {
  const busy = registry.list().filter((session) => session.runId === runId);
  for (const session of busy) session.send({ kind: "abort", runId, reason });
  return busy.length;
}

/**
 * Tells every connected agent to end whatever it is busy with. What an agent does is either ordered here, or it came with it:
 * an order to end another run means nothing to it.
 * @returns the agents that were told
 */
export function stopEverySource(registry: AgentRegistry, reason: string): readonly string[] {
  const sessions = registry.list();
  for (const session of sessions) {
    const runIds = new Set([...registry.conducted.keys(), ...(session.runId === null ? [] : [session.runId])]);
    for (const runId of runIds) session.send({ kind: "abort", runId, reason });
  }
  return sessions.map(({ name }) => name);
}
