import type { FindingCauses, ProbedFinding, SilentStream, SuspectElement } from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import { loadScenario, type ReportFinding, type RunReport, type RunRequest, type ScenarioStream } from "@dyetrace/wire";

/** What a probe needs to know of the run that it is made for. */
export interface ProbedRun extends ProbedFinding {
  readonly runId: string;
  /** The finding, and its place in the run's report. */
  readonly index: number;
  readonly finding: ReportFinding;
  /** As `silent`, the scenario's own streams. */
  readonly streams: readonly ScenarioStream[];
}

/** True where a probe may be able to part the suspects. */
export const isProbeable = ({ suspects, causes }: ReportFinding): boolean =>
  suspects.length > 1 && causes !== undefined && causes.silent.length > 0 && causes.elements.length > 0;

/** @returns null where the finding is none that a probe can be made for */
export function probedFinding(
  report: RunReport,
  index: number,
  request: RunRequest,
  graph: SiteGraph,
): ProbedRun | null {
  const finding = report.findings[index];
  if (finding?.causes === undefined || !isProbeable(finding)) return null;
  const { scenario } = loadScenario(request.scenario.text, request.scenario.file, {
    parameters: request.parameters ?? {},
  });
  const { causes } = finding;
  const streams = scenario.streams.filter(({ name }) => causes.silent.some(({ stream }) => stream === name));
  const silent = streams.map(
    ({ name, source, group, isSourceSpecific }): SilentStream => ({
      source: hostOfAgent(graph, source) ?? source,
      group,
      isSourceSpecific,
      hosts: causes.silent.flatMap((pair) => (pair.stream === name ? pair.host : [])),
    }),
  );
  // What was written by this program is in its terms.
  const elements = causes.elements.map((element) => element as SuspectElement);
  const told: FindingCauses = { ...causes, elements };
  return { runId: report.run, index, finding, suspects: finding.suspects, causes: told, silent, streams };
}
