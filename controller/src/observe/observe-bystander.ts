import type { BystanderObservation } from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { Bystander } from "../account/bystanders.ts";

/** What a host saw of a stream while it was no member of it. */
export function observeBystander(
  { stream, agent, canSee, frames, ranges, firstNs, lastNs, isGroupUsedByHost }: Bystander,
  graph: SiteGraph,
): BystanderObservation {
  return {
    stream,
    host: hostOfAgent(graph, agent) ?? agent,
    canSee,
    frames,
    ranges,
    firstMs: firstNs === null ? null : firstNs / 1e6,
    lastMs: lastNs === null ? null : lastNs / 1e6,
    isGroupUsedByHost,
  };
}
