import type { SiteGraph } from "@dyetrace/site";
import type { Coverage } from "./conclusion.ts";

/**
 * What agents in these places can tell apart, before anything is sent.
 * @param sources hosts that send
 * @param listeners hosts that join every stream
 */
export function coverage(graph: SiteGraph, sources: readonly string[], listeners: readonly string[]): Coverage {
  throw new Error(
    `coverage of ${graph.name} with ${sources.length} sources, ${listeners.length} listeners: to be written`,
  );
}
