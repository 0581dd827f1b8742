import { Fault, followsOthers } from "@dyetrace/wire";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";

/** @returns agents that are connected, and those that are not and have nothing to do @throws {Fault} AGENT_MISSING: one that has */
export function splitByPresence(
  run: CompiledRun,
  registry: Pick<AgentRegistry, "find">,
): { readonly present: readonly string[]; readonly absent: readonly string[] } {
  const present: string[] = [];
  const absent: string[] = [];
  const needed: string[] = [];
  for (const [agent, task] of run.tasks) {
    if (registry.find(agent) !== undefined) present.push(agent);
    else (task.actions.length > 0 ? needed : absent).push(agent);
  }
  if (needed.length === 0) return { present, absent };
  throw new Fault(
    "AGENT_MISSING",
    `${needed.length === 1 ? "Agent" : "Agents"} ${needed.join(", ")} ${needed.length === 1 ? "is" : "are"} not connected`,
    "Start them, or leave them out of the scenario",
  );
}

/** Control protocol since which agents follow streams of others. */
const FOLLOWS_SINCE = 10;

/** @throws {Fault} AGENT_CANNOT: an agent of an earlier version would join and count the stream as nobody's */
export function refuseUnableToFollow(
  run: CompiledRun,
  present: readonly string[],
  registry: Pick<AgentRegistry, "find">,
): void {
  if (!followsOthers(run)) return;
  const old = present.filter(
    (agent) => (run.tasks.get(agent)?.actions.length ?? 0) > 0 && (registry.find(agent)?.protocol ?? 0) < FOLLOWS_SINCE,
  );
  if (old.length === 0) return;
  const [verb, those] = old.length === 1 ? ["is", "it"] : ["are", "them"];
  throw new Fault(
    "AGENT_CANNOT",
    `${old.join(", ")} ${verb} of an earlier version that cannot follow streams of others`,
    `Upgrade ${those}, or leave ${those} out of the scenario`,
  );
}
