import type { RunComparison } from "./compare-runs.ts";
import type { Outcome } from "./comparison.ts";

/** One scenario of a battery, before and after a change. */
export interface BatteryComparison {
  readonly scenario: string;
  readonly comparison: RunComparison;
}

export interface BatteryVerdict {
  readonly outcome: Outcome;
  /** One sentence. */
  readonly reason: string;
}

/** Stands for all scenarios of a battery in one. */
export const TOGETHER = "all together";

/** One word for all: worse where any got worse, else undecided where any is, else better or the same. Pure. */
export function batteryVerdict(parts: readonly BatteryComparison[]): BatteryVerdict {
  const of = (outcome: Outcome): string =>
    parts
      .filter(({ comparison }) => comparison.outcome === outcome)
      .map(({ scenario }) => scenario)
      .join(", ");
  const [worse, undecided, better] = [of("worse"), of("cant-tell"), of("better")];
  if (worse !== "") return { outcome: "worse", reason: `Worse than before: ${worse}.` };
  if (undecided !== "")
    return { outcome: "cant-tell", reason: `Nothing got worse as far as is known; not decided: ${undecided}.` };
  if (better !== "") return { outcome: "better", reason: `Nothing got worse; better than before: ${better}.` };
  const excluded = parts.find(({ scenario }) => scenario === TOGETHER)?.comparison.excluded ?? "";
  const scenarios = parts.filter(({ scenario }) => scenario !== TOGETHER).length;
  return {
    outcome: "same",
    reason: [`All ${scenarios} scenarios went as before.`, excluded].filter((words) => words !== "").join(" "),
  };
}
