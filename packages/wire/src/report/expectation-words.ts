import type { ReportExpectation } from "./report-schema.ts";

export type ExpectationWords = "met" | "not met" | "not judged" | "undecided" | "does not apply";

/** What became of a limit of the scenario. */
export function expectationWords({
  met,
  undecided,
  applies,
}: Pick<ReportExpectation, "met" | "undecided" | "applies">): ExpectationWords {
  if (applies === false) return "does not apply";
  if (met === null) return undecided === undefined ? "not judged" : "undecided";
  return met ? "met" : "not met";
}
