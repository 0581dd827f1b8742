import type { SiteGraph } from "@dyetrace/site";
import type { Conclusion } from "./conclusion.ts";
import { coverage } from "./coverage.ts";
import type { RunObservations } from "./run-observations.ts";

/**
 * Names what stops, loses or leaks, as closely as the agents' places allow.
 * Pure: the same observations give the same conclusion.
 */
export function locate(graph: SiteGraph, observations: RunObservations): Conclusion {
  const sources = observations.streams.map((stream) => stream.source);
  const listeners = observations.listeners.filter((l) => l.state === "reported").map((l) => l.host);
  return {
    findings: [],
    segments: [],
    coverage: coverage(graph, sources, listeners),
  };
}
