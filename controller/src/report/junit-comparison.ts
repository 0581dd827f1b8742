import type { RunComparison } from "../compare/compare-runs.ts";
import type { Comparison } from "../compare/comparison.ts";
import { type JunitCase, junitDocument } from "./junit-report.ts";

/** A comparison as test cases: what got worse has failed, what can't be decided was skipped. */
export function junitOfComparison(comparison: RunComparison, timestamp: string): string {
  const cases = comparison.comparisons.map(
    (one): JunitCase => ({ suite: one.what, name: nameOf(one), outcome: outcomeOf(one) }),
  );
  return junitDocument(`${comparison.run} against ${comparison.against}`, cases, { timestamp, seconds: 0 });
}

const nameOf = ({ what, stream, listener, places }: Comparison): string =>
  [what, stream, listener ?? (stream === null ? places.join(" ") : "all listeners")]
    .flatMap((part) => part ?? [])
    .join(" ");

function outcomeOf({ outcome, before, after, because, places }: Comparison): JunitCase["outcome"] {
  if (outcome === "same" || outcome === "better") return { kind: "passed" };
  const detail = [because, places.length === 0 ? "" : `Suspects: ${places.join(", ")}`].filter((line) => line !== "");
  return {
    kind: outcome === "worse" ? "failed" : "skipped",
    message: `${before} -> ${after}`,
    detail: detail.join("\n"),
  };
}
