import { FINDING_KINDS } from "@dyetrace/wire";
import type { Conclusion, SegmentState } from "./conclusion.ts";
import type { Finding } from "./finding/finding.ts";

/**
 * One conclusion out of those that were drawn for each combination: the one that needs the fewest findings, hop counts
 * that contradict the plan among them. Where several need as few, what only some of them say is doubtful: suspects of all
 * are named together, and a segment counts as proven only if it is on every way.
 */
export function cheapestConclusion(conclusions: readonly Conclusion[]): Conclusion {
  const fewest = Math.min(...conclusions.map(({ findings }) => findings.length));
  const tied = conclusions.filter(({ findings }) => findings.length === fewest);
  const [first, ...others] = tied;
  if (first === undefined) throw new RangeError("No conclusion to choose from");
  if (others.length === 0) return first;
  return {
    findings: first.findings.map((finding) => together(finding, others)),
    segments: first.segments.map((state, at) => commonState(state, others, at)),
    coverage: first.coverage,
    remarks: first.remarks,
    queriers: first.queriers,
  };
}

/** What is left of the confidence where several routes are named together. Our estimate, no source. */
export const EQUAL_ROUTES_FACTOR = 0.9;

function together(finding: Finding, others: readonly Conclusion[]): Finding {
  const alike = others.flatMap(({ findings }) => findings.filter((other) => isAlike(finding, other)));
  const suspects = [...new Set([finding, ...alike].flatMap((one) => one.suspects))];
  if (suspects.length === finding.suspects.length) return finding;
  return {
    ...finding,
    suspects,
    confidence: Math.round(finding.confidence * 100 * EQUAL_ROUTES_FACTOR) / 100,
    evidence: [
      ...finding.evidence,
      "Several routes of equal cost lead there and the plan does not say which is taken, so the suspects on each of them are named.",
    ],
  };
}

/** By another route the same silence may look like another sort of stop. */
function isAlike(one: Finding, other: Finding): boolean {
  if (one.kind === other.kind) return true;
  const areStops = [one, other].every(({ kind }) => FINDING_KINDS[kind].glyph === "stop");
  return areStops && one.streams.some((stream) => other.streams.includes(stream));
}

function commonState(state: SegmentState, others: readonly Conclusion[], at: number): SegmentState {
  const isCommon = others.every(({ segments }) => segments[at]?.status === state.status);
  return isCommon ? state : { ...state, lossRatio: null, low: null, high: null, status: "unknown" };
}
