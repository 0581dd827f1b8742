import { OF_THE_WAY } from "@dyetrace/locate";
import type { ReportFinding, RunReport } from "@dyetrace/wire";

/** A test burst that followed a run. */
export interface RunBursts {
  /** What was sent and why, or why nothing was. */
  readonly note: string;
  /** As of a run of its own; null where nothing was sent, or not to its end. */
  readonly report: Pick<RunReport, "findings"> | null;
}

/** Between two runs a fault may have become another. What is left of the confidence then; our estimate, no source. */
const TWO_RUNS_FACTOR = 0.98;

/** The report of a run with what a burst after it showed: of a finding's suspects those that both leave. Pure. */
export function withBursts(report: RunReport, bursts: RunBursts | null): RunReport {
  if (bursts === null) return report;
  const { note, report: shown } = bursts;
  const findings =
    shown === null ? report.findings : report.findings.map((finding) => narrowedBy(finding, shown.findings));
  const isAny = shown !== null && findings.some((finding, index) => finding !== report.findings[index]);
  const outcome = shown === null ? "" : isAny ? "" : " It left as many suspects as there were.";
  return { ...report, findings, notes: [...report.notes, `${note}${outcome}`] };
}

function narrowedBy(finding: ReportFinding, shown: readonly ReportFinding[]): ReportFinding {
  if (!OF_THE_WAY.has(finding.kind) || finding.suspects.length < 2) return finding;
  const same = shown.filter(
    ({ kind, streams, suspects }) =>
      OF_THE_WAY.has(kind) &&
      streams.some((stream) => finding.streams.includes(stream)) &&
      suspects.some((suspect) => finding.suspects.includes(suspect)),
  );
  const [one] = same;
  // Several faults of the burst in the place of one: which of them the run had is not known.
  if (one === undefined || same.length > 1) return finding;
  const left = one.suspects.filter((suspect) => finding.suspects.includes(suspect));
  if (left.length === finding.suspects.length) return finding;
  const { causes, ...rest } = finding;
  return {
    ...rest,
    suspects: left,
    confidence: Math.round(Math.min(finding.confidence, one.confidence) * TWO_RUNS_FACTOR * 100) / 100,
    title: `${one.title} (in the test burst)`,
    evidence: [...one.evidence.map((sentence) => `Test burst: ${sentence}`), `The run itself said: ${finding.title}.`],
    advice: one.advice,
    ...(causes === undefined
      ? {}
      : { causes: { ...causes, elements: causes.elements.filter(({ place }) => left.includes(place)) } }),
  };
}
