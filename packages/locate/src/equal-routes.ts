import { type SiteGraph, sourceWays, unfoldVlans } from "@dyetrace/site";
import type { Conclusion, SegmentState } from "./conclusion.ts";
import type { Finding } from "./finding/finding.ts";
import type { SiteIndex } from "./site/site-index.ts";

/** More combinations of equal routes than this are not followed: a bound of effort, no source. */
const MOST_COMBINATIONS = 16;

/**
 * Where routes cost the same, the plan does not say which of them a source's packets take: all combinations of the
 * alternatives, for the sources of a run together.
 * @returns one combination at least; in a site without routers the one that names none
 */
export function routeCombinations(plan: SiteGraph, sources: readonly string[]): SiteIndex["alternatives"][] {
  const site = unfoldVlans(plan);
  let combinations: ReadonlyMap<string, number>[] = [new Map()];
  if (![...site.nodes.values()].some(({ kind }) => kind === "router")) return combinations;
  for (const source of new Set(sources)) {
    const ways = site.nodes.has(source) ? sourceWays(site, source).length : 1;
    if (ways < 2) continue;
    combinations = combinations
      .flatMap((one) => Array.from({ length: ways }, (_, way) => new Map([...one, [source, way]])))
      .slice(0, MOST_COMBINATIONS);
  }
  return combinations;
}

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
  };
}

/** What is left of the confidence where several routes are named together. Our estimate, no source. */
export const EQUAL_ROUTES_FACTOR = 0.9;

function together(finding: Finding, others: readonly Conclusion[]): Finding {
  const alike = others.flatMap(({ findings }) => findings.filter(({ kind }) => kind === finding.kind));
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

function commonState(state: SegmentState, others: readonly Conclusion[], at: number): SegmentState {
  const isCommon = others.every(({ segments }) => segments[at]?.status === state.status);
  return isCommon ? state : { ...state, lossRatio: null, low: null, high: null, status: "unknown" };
}
