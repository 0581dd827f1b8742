import type { SiteGraph } from "@dyetrace/site";
import type { Conclusion } from "./conclusion.ts";
import { coverage } from "./coverage.ts";
import { findHostFaults } from "./host-rules.ts";
import { findLeaks } from "./leaks/leak-findings.ts";
import { findLoss } from "./loss/loss-findings.ts";
import { lossScope } from "./loss/loss-scope.ts";
import { measuredChains } from "./loss/segment-loss.ts";
import { streamLoss } from "./loss/stream-loss.ts";
import type { RunObservations } from "./run-observations.ts";
import { segmentStates } from "./segment-states.ts";
import { indexSite } from "./site-index.ts";
import { findSilentSources } from "./source-rules.ts";
import { findStops } from "./stop-findings.ts";
import { streamFacts } from "./stream-facts.ts";

/**
 * Names what stops, loses or leaks, as closely as the agents' places allow.
 * Pure: the same observations give the same conclusion.
 */
export function locate(graph: SiteGraph, observations: RunObservations): Conclusion {
  const site = indexSite(graph);
  const streams = streamFacts(site, observations);
  const stops = findStops(site, streams);
  const scopes = new Map(streams.map((facts) => [facts, lossScope(facts, stops.trials, [])]));
  const chains = measuredChains([...scopes].flatMap(([facts, scope]) => streamLoss(facts, scope)));
  const findings = [
    ...findSilentSources(streams),
    ...stops.findings,
    ...findLoss(site, chains, scopes),
    ...findLeaks(site, streams, observations.timers),
    ...findHostFaults(streams),
  ];
  const sources = observations.streams.map((stream) => stream.source);
  const listeners = observations.listeners.filter((l) => l.state === "reported").map((l) => l.host);
  return {
    findings,
    segments: segmentStates(site, chains, stops.cases, findings),
    coverage: coverage(graph, sources, listeners),
  };
}
