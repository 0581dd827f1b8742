import type { RunObservations } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { observeBystanders, observeNonMembers } from "./observe-bystanders.ts";
import { observeListener } from "./observe-listener.ts";
import { observeMembership } from "./observe-membership.ts";
import { observeStream } from "./observe-stream.ts";
import type { RunEvidence } from "./run-evidence.ts";
import { type Stay, staysOf } from "./stays.ts";
import { emissionOf } from "./stream-evidence.ts";

/**
 * What the agents said, in the form that `locate` reasons from. Pure.
 * @param stays of the same run and evidence
 */
export function observeRun(
  run: CompiledRun,
  graph: SiteGraph,
  evidence: RunEvidence,
  stays: readonly Stay[] = staysOf(run, evidence),
): RunObservations {
  return {
    streams: run.streams.map((stream) =>
      observeStream(run, stream, emissionOf(evidence, stream.source, stream.streamId)),
    ),
    listeners: stays.map((stay) => observeListener(stay, graph, evidence)),
    bystanders: [...observeBystanders(run, graph, evidence), ...observeNonMembers(stays, graph)],
    ...observeMembership(run, graph, evidence),
  };
}
