import { type Narrowed, narrowSuspects, type RunObservations } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import type { ReportFinding, ReportProbe } from "@dyetrace/wire";
import type { ProbedRun } from "./probed-finding.ts";
import { narrowedEvidence, narrowedSentence, placesPhrase } from "./say-narrowed.ts";

export interface JoinedProbe {
  readonly probe: ReportProbe;
  readonly findings: readonly ReportFinding[];
}

/** Between two runs a fault may have become another. What is left of the confidence then; our estimate, no source. */
const TWO_RUNS_FACTOR = 0.98;
/** Where one fault does not explain all that was silent in the probe. Our estimate, no source. */
const SEVERAL_FAULTS_FACTOR = 0.8;

/**
 * What a probe says together with the run that it was made for: the first run's finding with the suspects that both leave,
 * in the place of what the probe alone would say of them. Pure.
 * @param findings of the probe's own run
 */
export function joinProbe(
  first: ProbedRun,
  findings: readonly ReportFinding[],
  observations: RunObservations,
  graph: SiteGraph,
): JoinedProbe {
  const narrowed = narrowSuspects(graph, first, observations);
  const { outcome, suspects } = narrowed;
  const probe: ReportProbe = {
    of: first.runId,
    finding: first.index,
    outcome,
    before: [...first.suspects],
    after: [...suspects],
    title: narrowedSentence(first, narrowed),
    evidence: narrowedEvidence(first, narrowed, observations.streams),
  };
  if (outcome === "gone" || outcome === "undecided") return { probe, findings };
  const isSaid = (finding: ReportFinding): boolean =>
    finding.causes !== undefined && finding.suspects.some((name) => first.suspects.includes(name));
  return { probe, findings: [jointFinding(first, narrowed, probe), ...findings.filter((one) => !isSaid(one))] };
}

function jointFinding(first: ProbedRun, narrowed: Narrowed, probe: ReportProbe): ReportFinding {
  const { finding, causes } = first;
  const { suspects, elements, isOneFault, silent } = narrowed;
  const isOfGroup = elements.length > 0 && elements.every(({ kind }) => kind.endsWith("-group"));
  const confidence = finding.confidence * (isOneFault ? TWO_RUNS_FACTOR : SEVERAL_FAULTS_FACTOR);
  return {
    ...finding,
    kind: finding.kind === "stops" && isOfGroup ? "group-specific" : finding.kind,
    streams: [...new Set(silent.map(({ stream }) => stream))],
    suspects: [...suspects],
    confidence: Math.round(confidence * 100) / 100,
    title: `What stopped in run ${first.runId.slice(0, 8)} stops ${placesPhrase(suspects)}`,
    evidence: [...probe.evidence, `The first run said: ${finding.title}.`],
    causes: {
      payloadBytes: causes.payloadBytes,
      silent: silent.map((pair) => ({ ...pair })),
      elements: elements.map((element) => ({ ...element })),
    },
  };
}
