import type { CompiledRun } from "../plan/compiled-run.ts";

/** Agents that are named one by one. */
const MOST_NAMES = 3;

/** What the timeline does next, for a countdown. @returns null when nothing more happens */
export function nextDeed(run: CompiledRun, atNs: number): { readonly what: string; readonly inMs: number } | null {
  const deed = run.scenario.timeline.find((candidate) => candidate.atNs > atNs);
  if (deed === undefined) return null;
  const inMs = (deed.atNs - atNs) / 1e6;
  switch (deed.kind) {
    case "emit":
      return { what: `${deed.stream} is sent`, inMs };
    case "stop":
      return { what: `${deed.stream} stops`, inMs };
    case "set":
      return { what: `${deed.stream} changes its rate or size`, inMs };
    case "join":
    case "leave":
      return { what: `${namesOf(deed.agents)} ${deed.kind} ${deed.stream}`, inMs };
  }
}

function namesOf(agents: readonly string[] | null): string {
  if (agents === null) return "all";
  return agents.length > MOST_NAMES ? `${agents.length} agents` : agents.join(", ");
}
