import type { FindingKindFacts } from "./finding-kind-facts.ts";

/** A part of the table of kinds: who asks for memberships, and in which version. */
export const QUERIER_FINDING_KINDS = {
  "no-querier": {
    effect: "fails",
    glyph: "fault",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "no querier",
    meaning: "Nobody asks for memberships, so they run out or the switches flood.",
  },
  "two-queriers": {
    effect: "fails",
    glyph: "fault",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "two queriers",
    meaning: "Two queriers ask at the same time, where an election should have left one.",
  },
  "wrong-querier": {
    effect: "fails",
    glyph: "fault",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "wrong querier",
    meaning: "Somebody asks for memberships who should not, and switches send every stream toward whoever asks.",
  },
  "slow-querier": {
    effect: "fails",
    glyph: "fault",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "slow querier",
    meaning: "The querier asks so seldom that switches forget memberships between two queries.",
  },
  "older-version": {
    effect: "fails",
    glyph: "fault",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "older version",
    meaning: "A stream is joined from one source alone, and reported in a version that can't say so.",
  },
} as const satisfies Readonly<Record<string, FindingKindFacts>>;
