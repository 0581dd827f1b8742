import { checkAgainstSite, type Observations, type SiteContradiction, type SiteGraph } from "@dyetrace/site";
import type { ReportFinding, RunProgress, RunReport } from "@dyetrace/wire";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { DeviceDesk } from "../devices/device-desk.ts";
import { runTargets } from "../devices/run-targets.ts";

/** More are counted only. */
const MOST_TOLD = 12;
/** As where the agents' own frames show that the plan is wrong somewhere: no place is surer than what rests on one host. */
const MOST_CONFIDENCE = 0.8;
/** Those by which frames go another way than the plan draws. */
const ABOUT_WAYS: ReadonlySet<SiteContradiction["kind"]> = new Set(["elsewhere", "link", "blocked"]);

interface Askable {
  readonly registry: AgentRegistry;
  readonly devices?: DeviceDesk;
}

/** What was seen of a site just before a run. */
export interface PlanDoubts {
  readonly contradictions: readonly SiteContradiction[];
  /** Of its devices, whole: what they counted then is known to the run as well. */
  readonly readings: readonly DeviceReading[];
}

/** Holds the plan against what agents hear and switches say, just before a run, and says where they differ. */
export async function doubtPlan(
  graph: SiteGraph,
  askable: Askable,
  runId: string,
  say: (progress: RunProgress) => void,
): Promise<PlanDoubts> {
  const observed = await observe(graph, askable, runId);
  const { contradictions } = checkAgainstSite(graph, observed);
  for (const { sentence, effect } of contradictions.slice(0, MOST_TOLD)) {
    say({ kind: "step", text: `The plan and the site differ: ${sentence}. ${effect}` });
  }
  const more = contradictions.length - MOST_TOLD;
  if (more > 0)
    say({ kind: "step", text: `The plan and the site differ in ${more} more: \`plan check --against-site\`` });
  return { contradictions, readings: observed.readings };
}

async function observe(
  graph: SiteGraph,
  { registry, devices }: Askable,
  runId: string,
): Promise<Observations & Pick<PlanDoubts, "readings">> {
  const hosts = [...graph.nodes.values()].flatMap(({ agent }) => {
    const known = agent === null ? undefined : registry.surroundings.get(agent);
    const toldAgoMs = known === undefined ? 0 : Math.max(0, Date.now() - known.atMs);
    return agent === null || known === undefined ? [] : [{ agent, toldAgoMs, surroundings: known.surroundings }];
  });
  // That the book of devices is damaged is said where the run reads them for its counters.
  const targets = devices === undefined ? [] : runTargets(devices, new Set(graph.nodes.keys()), () => {});
  const asker = { who: `run ${runId}`, from: "this controller" };
  const readings = await Promise.all(
    targets.map(({ node }) => devices?.read(node, "all", asker).catch(() => null) ?? Promise.resolve(null)),
  );
  return { hosts, readings: readings.flatMap((reading) => reading ?? []) };
}

/** A report with what contradicts its plan: places are no surer than that leaves them, and the notes say why. */
export function withPlanDoubts(report: RunReport, contradictions: readonly SiteContradiction[]): RunReport {
  if (contradictions.length === 0) return report;
  const notes = contradictions.slice(0, MOST_TOLD).map(({ sentence }) => `The plan and the site differ: ${sentence}.`);
  const ways = contradictions.filter(({ kind }) => ABOUT_WAYS.has(kind));
  const findings = ways.length === 0 ? report.findings : report.findings.map((finding) => doubted(finding, ways));
  return { ...report, findings, notes: [...report.notes, ...notes] };
}

function doubted(finding: ReportFinding, ways: readonly SiteContradiction[]): ReportFinding {
  if (finding.suspects.length === 0) return finding;
  const own = ways.filter(({ places }) => places.some((place) => finding.suspects.includes(place)));
  return {
    ...finding,
    confidence: Math.min(finding.confidence, MOST_CONFIDENCE),
    evidence: [
      ...finding.evidence,
      ...own.map(({ sentence }) => `The plan is doubtful here: ${sentence}.`),
      ...(own.length === 0 ? ["The plan is contradicted elsewhere on the site, so no place is sure."] : []),
    ],
  };
}
