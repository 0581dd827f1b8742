import type { BatteryComparison } from "../compare/battery-verdict.ts";
import type { RunComparison } from "../compare/compare-runs.ts";
import type { Comparison } from "../compare/comparison.ts";
import type { JunitCase } from "./junit-incidents.ts";
import { junitDocument } from "./junit-report.ts";

/** A comparison as test cases: what got worse has failed, what can't be decided was skipped. */
export function junitOfComparison(comparison: RunComparison, timestamp: string): string {
  const cases = comparison.comparisons.map((one) => caseOf(one, one.what));
  return junitDocument(`${comparison.run} against ${comparison.against}`, cases, { timestamp, seconds: 0 });
}

/** A battery as one document. Its names bear no run's id: a CI system draws the trend of a case by its name. */
export function junitOfBattery(site: string, parts: readonly BatteryComparison[], timestamp: string): string {
  const cases = parts.flatMap(({ scenario, comparison }) => comparison.comparisons.map((one) => caseOf(one, scenario)));
  return junitDocument(`${site}: before and after a change`, cases, { timestamp, seconds: 0 });
}

const caseOf = (one: Comparison, suite: string): JunitCase => ({ suite, name: nameOf(one), outcome: outcomeOf(one) });

const nameOf = ({ what, stream, listener, places }: Comparison): string =>
  [
    what,
    stream ?? (listener === null ? null : "all streams"),
    listener ?? (stream === null ? places.join(" ") : "all listeners"),
  ]
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
