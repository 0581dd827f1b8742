import type { CompiledRun } from "../plan/compiled-run.ts";

/** Agents that are named one by one. */
const MOST_NAMES = 3;

/** What the timeline does next, for a countdown. @returns null when nothing more happens */
export function nextAction(run: CompiledRun, atNs: number): { readonly what: string; readonly inMs: number } | null {
  const action = run.scenario.timeline.find((candidate) => candidate.atNs > atNs);
  if (action === undefined) return null;
  const inMs = (action.atNs - atNs) / 1e6;
  switch (action.kind) {
    case "emit":
      return { what: `${action.stream} is sent`, inMs };
    case "stop":
      return { what: `${action.stream} stops`, inMs };
    case "set":
      return { what: `${action.stream} changes its rate or size`, inMs };
    case "join":
    case "watch":
    case "leave":
      return { what: `${namesOf(action.agents)} ${action.kind} ${action.stream}`, inMs };
  }
}

function namesOf(agents: readonly string[] | null): string {
  if (agents === null) return "all";
  return agents.length > MOST_NAMES ? `${agents.length} agents` : agents.join(", ");
}
