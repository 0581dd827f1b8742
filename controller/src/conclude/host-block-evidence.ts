import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { ReportFinding } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";

/** Adds to each host-side block the rule or setting that the host itself names for it. */
export function explainHostBlocks(
  findings: readonly ReportFinding[],
  { run, agents }: RunAccount,
  graph: SiteGraph,
): ReportFinding[] {
  const streamName = new Map(run.streams.map(({ streamId, name }) => [streamId, name]));
  const reasons = [...agents.values()].flatMap(({ agent, ending }) =>
    (ending?.hostBlocks ?? []).flatMap(({ streamId, why }) =>
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
