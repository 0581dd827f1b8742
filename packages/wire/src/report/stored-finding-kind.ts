import type { FindingKindFacts } from "./finding-kind-facts.ts";
import { FINDING_KINDS, type FindingKind } from "./finding-kinds.ts";

/**
 * The facts of a kind that may be another version's, as in a stored report: what this version does not know is in doubt
 * rather than anything worse.
 */
export function findingKindFacts(kind: string): FindingKindFacts {
  if (Object.hasOwn(FINDING_KINDS, kind)) return FINDING_KINDS[kind as FindingKind];
  return {
    effect: "undecided",
    glyph: "doubt",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.5,
    label: kind.replaceAll("-", " "),
    meaning: "A kind of finding that this version does not know.",
  };
}
