import type { ReportFinding, RunReport } from "@dyetrace/wire";
import { UNDECIDED } from "./compare-loss.ts";
import type { Candidate } from "./comparison.ts";

/**
 * Findings that a run has or has not, without a figure that could have come out either way by chance. Loss and delays
 * are compared by their figures instead.
 */
const PLAIN_KINDS: ReadonlySet<string> = new Set([
  "stops",
  "group-specific",
  "source-specific",
  "rendezvous-point",
  "size-limited",
  "rate-limited",
  "ttl-too-small",
  "ages-out",
  "leave-cuts-neighbour",
  "host-side-block",
  "leaks",
  "no-querier",
  "two-queriers",
  "converted-to-unicast",
  "dscp-rewritten",
]);

/** A fault that was not there before is worse, one that has gone is better. */
export function compareFindings(before: RunReport, after: RunReport): readonly Candidate[] {
  const [old, now] = [before, after].map((report) => report.findings.filter(({ kind }) => PLAIN_KINDS.has(kind))) as [
    ReportFinding[],
    ReportFinding[],
  ];
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

const isSame = (a: ReportFinding, b: ReportFinding): boolean =>
  a.kind === b.kind &&
  (a.suspects.length + b.suspects.length === 0 || a.suspects.some((suspect) => b.suspects.includes(suspect)));
