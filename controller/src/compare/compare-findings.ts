import { type FindingComparison, findingKindFacts, type ReportFinding, type RunReport } from "@dyetrace/wire";
import { UNDECIDED } from "./compare-loss.ts";
import type { Candidate } from "./comparison.ts";

/**
 * Findings that a run has or has not, without a figure that could have come out either way by chance: one that was not
 * there before is worse, one that has gone is better. Loss and delays are compared by their figures instead.
 */
export function compareFindings(before: RunReport, after: RunReport): readonly Candidate[] {
  const [old, now] = [findingsBy("presence", before), findingsBy("presence", after)];
  const told = (finding: ReportFinding, outcome: "worse" | "better" | "same", because: string): Candidate => ({
    what: finding.kind,
    stream: finding.streams.length === 1 ? (finding.streams[0] ?? null) : null,
    listener: null,
    places: finding.suspects,
    before: outcome === "worse" ? "not found" : "found",
    after: outcome === "better" ? "not found" : "found",
    ...UNDECIDED,
    outcome,
    isMaterial: outcome !== "same",
    step: "",
    because,
  });
  return [
    ...now.map((finding) =>
      old.some((other) => isSame(other, finding))
        ? told(finding, "same", "both runs found it")
        : told(finding, "worse", finding.title),
    ),
    ...old
      .filter((finding) => !now.some((other) => isSame(other, finding)))
      .map((finding) => told(finding, "better", `no longer: ${finding.title}`)),
  ];
}

/** What one run found of its own circumstances, such as a busy host, and the other did not. */
export function notesOfFindings(before: RunReport, after: RunReport): string[] {
  const [old, now] = [findingsBy("note", before), findingsBy("note", after)];
  const only = (which: string, own: readonly ReportFinding[], others: readonly ReportFinding[]): string[] =>
    own
      .filter((finding) => !others.some((other) => isSame(other, finding)))
      .map(({ kind, title }) => `Only the ${which} run found ${findingKindFacts(kind).label}: ${title}.`);
  return [...only("earlier", old, now), ...only("later", now, old)];
}

const findingsBy = (comparison: FindingComparison, { findings }: RunReport): readonly ReportFinding[] =>
  findings.filter(({ kind }) => findingKindFacts(kind).compared === comparison);

/** The same thing at the same place, about the same: one source may fail to send one stream and then another. */
const isSame = (a: ReportFinding, b: ReportFinding): boolean =>
  a.kind === b.kind && doMeet(a.suspects, b.suspects) && doMeet(a.streams, b.streams);

const doMeet = (a: readonly string[], b: readonly string[]): boolean =>
  a.length + b.length === 0 || a.some((name) => b.includes(name));
