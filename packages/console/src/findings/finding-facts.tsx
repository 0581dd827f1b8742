import { aboutPorts, agentsBehind, clearedWords, portsToLookAt, type RunScene } from "@dyetrace/picture";
import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";

interface FindingFactsProps {
  readonly graph: SiteGraph;
  readonly report: RunReport;
  readonly finding: RunReport["findings"][number];
  readonly drawn: RunScene | null;
}

/** The two ports to look at, and what cleared the other places. */
export function FindingFacts({ graph, report, finding, drawn }: FindingFactsProps) {
  if (drawn === null || finding.suspects.length === 0) return null;
  const ports = portsToLookAt(graph, finding, drawn.tree);
  return (
    <dl class="figures">
      {ports !== null && (
        <>
          <dt>the two ports to look at</dt>
          <dd>
            <code>{ports.from}</code> and <code>{ports.to}</code>, {aboutPorts(ports)}
          </dd>
        </>
      )}
      <dt>what cleared the others</dt>
      <dd>{clearedWords(report, finding, agentsBehind(drawn.tree, finding.suspects))}</dd>
    </dl>
  );
}
