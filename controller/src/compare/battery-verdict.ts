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
  return { outcome: "same", reason: `All ${parts.length} scenarios went as before.` };
}
