import type { BystanderObservation } from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { CompiledRun } from "./compile-scenario.ts";
import type { RunEvidence } from "./conduct-run.ts";
import { seenFrames, watcherDrops } from "./watch-evidence.ts";

/** For each stream, every agent that neither sends nor ever joins it. */
export function observeBystanders(run: CompiledRun, graph: SiteGraph, evidence: RunEvidence): BystanderObservation[] {
  const joined = new Set(run.joins.map((join) => `${join.stream} ${join.agent}`));
  return run.streams.flatMap((stream) =>
    [...run.tasks.keys()]
      .filter((agent) => agent !== stream.source && !joined.has(`${stream.name} ${agent}`))
      .map((agent): BystanderObservation => {
        const seen = seenFrames(evidence, agent, stream.streamId);
        const isWhole = watcherDrops(evidence.agents.get(agent)?.watch ?? []) === 0;
        return {
          stream: stream.name,
          host: hostOfAgent(graph, agent) ?? agent,
          // A watcher that lost frames and saw none proves nothing.
          canSee: seen !== null && (isWhole || seen.frames > 0),
          frames: seen?.frames ?? 0,
          ranges: seen?.ranges ?? [],
          firstMs: seen?.firstNs == null ? null : seen.firstNs / 1e6,
          lastMs: seen?.lastNs == null ? null : seen.lastNs / 1e6,
          isGroupUsedByHost: null,
        };
      }),
  );
}
