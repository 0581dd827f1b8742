import { agentNames, hostOfAgent, nodeOfSource, type SiteGraph } from "@dyetrace/site";
import type { Scenario, ScenarioStream } from "@dyetrace/wire";

/** A scenario's stream with its source and all that ever join it as nodes of the plan. */
export interface PlacedStream extends ScenarioStream {
  readonly source: string;
  readonly listeners: readonly string[];
}

export function placeStreams(graph: SiteGraph, scenario: Scenario): PlacedStream[] {
  const agents = agentNames(graph);
  return scenario.streams.map((stream) => {
    const named = scenario.timeline.flatMap((action) =>
      action.kind === "join" && action.stream === stream.name
        ? (action.agents ?? agents.filter((agent) => agent !== stream.source))
        : [],
    );
    return {
      ...stream,
      source: nodeOfSource(graph, stream.source) ?? stream.source,
      listeners: [...new Set(named)].flatMap((agent) => hostOfAgent(graph, agent) ?? []),
    };
  });
}
