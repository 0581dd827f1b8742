import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { ReportFinding } from "@dyetrace/wire";
import type { RunEvidence } from "../observe/run-evidence.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";

/** Adds to each host-side block the rule or setting that the host itself names for it. */
export function explainHostBlocks(
  findings: readonly ReportFinding[],
  run: CompiledRun,
  graph: SiteGraph,
  evidence: RunEvidence,
): ReportFinding[] {
  const streamName = new Map(run.streams.map(({ streamId, name }) => [streamId, name]));
  const reasons = [...evidence.agents.values()].flatMap(({ agent, final }) =>
    (final?.totals?.hostBlocks ?? []).flatMap(({ streamId, why }) =>
      why === null ? [] : [{ host: hostOfAgent(graph, agent) ?? agent, stream: streamName.get(streamId) ?? "", why }],
    ),
  );
  return findings.map((finding) => {
    if (finding.kind !== "host-side-block") return finding;
    const told = reasons.filter(
      ({ host, stream }) => finding.suspects.includes(host) && finding.streams.includes(stream),
    );
    return { ...finding, evidence: [...finding.evidence, ...new Set(told.map(({ why }) => `${why}.`))] };
  });
}
