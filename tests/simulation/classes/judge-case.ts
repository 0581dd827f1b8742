import type { Finding } from "../../../packages/locate/src/finding/finding.ts";
import { locate } from "../../../packages/locate/src/locate.ts";
import type { ClassCase, ClassTruth } from "./class-case.ts";

/**
 * What came of a case. `surely-wrong`: a finding as sure as `SURE` that names no true place, or a sure one where nothing
 * is wrong. `right`: the truth is named and no sure finding contradicts it, or nothing is said where nothing is wrong.
 * `humble`: findings, none sure, that miss it. `nothing`: the fault passed without a finding.
 */
export type Verdict = "surely-wrong" | "right" | "humble" | "nothing";

export interface JudgedCase {
  readonly verdict: Verdict;
  readonly findings: readonly JudgedFinding[];
  /** The place is named, but none of the findings there has a kind that fits. */
  readonly isMisnamed: boolean;
  /** A segment or a node that forwards is at fault and called ok. */
  readonly isCalledGood: boolean;
  readonly hasUntrueWords: boolean;
}

export interface JudgedFinding {
  readonly finding: Finding;
  readonly isRight: boolean;
  /** A finding that names nobody and says that it can't tell claims nothing that could be wrong. */
  readonly isClaim: boolean;
}

export const SURE = 0.9;

export function judgeCase({ plan, world, run, truth }: ClassCase): JudgedCase {
  const conclusion = locate(plan, run);
  const findings = conclusion.findings.map((finding) => ({
    finding,
    isRight: isRight(finding, truth),
    isClaim: finding.kind !== "inconclusive" || finding.suspects.length > 0,
  }));
  const atPlace = findings.filter(({ finding }) => namesPlace(finding, truth));
  const { kinds, untrueWords } = truth;
  return {
    verdict: verdictOf(findings, truth),
    findings,
    isMisnamed: kinds !== null && atPlace.length > 0 && !atPlace.some(({ finding }) => kinds.includes(finding.kind)),
    isCalledGood: conclusion.segments.some(
      ({ id, status }) => status === "ok" && truth.places.includes(id) && world.nodes.get(id)?.kind !== "host",
    ),
    hasUntrueWords:
      untrueWords !== null &&
      findings.some(({ finding: { title, evidence } }) => [title, ...evidence].some((line) => untrueWords.test(line))),
  };
}

function verdictOf(findings: readonly JudgedFinding[], truth: ClassTruth): Verdict {
  if (findings.some(({ finding, isRight, isClaim }) => isClaim && !isRight && finding.confidence >= SURE)) {
    return "surely-wrong";
  }
  const isAnythingWrong = truth.places.length + truth.misplaced.length + truth.trueKinds.length > 0;
  if (findings.length === 0) return isAnythingWrong ? "nothing" : "right";
  return findings.some(({ isRight }) => isRight) ? "right" : "humble";
}

function isRight(finding: Finding, truth: ClassTruth): boolean {
  return (
    truth.trueKinds.includes(finding.kind) ||
    misplacedIn(finding).some((name) => truth.misplaced.includes(name)) ||
    namesPlace(finding, truth)
  );
}

const namesPlace = (finding: Finding, truth: ClassTruth): boolean =>
  finding.suspects.some((suspect) => truth.places.some((place) => isSamePlace(suspect, place)));

/**
 * Whether who goes to the place that the plan calls `suspect` stands before the one that the world calls `place`: the same
 * node, or a segment in the same direction with a port in common. So a cable that the plan has led to the wrong host still
 * counts where its other end is right.
 */
export function isSamePlace(suspect: string, place: string): boolean {
  if (suspect === place) return true;
  const [from, to] = suspect.split(">");
  const [trueFrom, trueTo] = place.split(">");
  return to !== undefined && trueTo !== undefined && (from === trueFrom || to === trueTo);
}

/** Hosts that a finding says sit elsewhere than planned: names, or objects that hold one. */
function misplacedIn(finding: Finding): string[] {
  const { misplaced }: { readonly misplaced?: unknown } = { misplaced: undefined, ...finding };
  if (!Array.isArray(misplaced)) return [];
  return misplaced.flatMap((one: unknown) => {
    if (typeof one === "string") return [one];
    if (typeof one !== "object" || one === null || !("host" in one)) return [];
    return typeof one.host === "string" ? [one.host] : [];
  });
}
