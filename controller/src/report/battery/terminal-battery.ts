import { COMPARISON_WORDS } from "@dyetrace/wire";
import type { BatteryComparison, BatteryVerdict } from "../../compare/battery-verdict.ts";
import { OUTCOME_TONES, renderComparison } from "../terminal-comparison.ts";
import type { Paint } from "../terminal-paint.ts";

/** A battery held against the one before: the verdict, a line for each scenario, and what changed in full. */
export function renderBattery(
  verdict: BatteryVerdict,
  parts: readonly BatteryComparison[],
  name: string,
  paint: Paint,
): string {
  const width = Math.max(...parts.map(({ scenario }) => scenario.length));
  const changed = parts.filter(({ comparison }) => comparison.changes.length > 0);
  return [
    "",
    `${paint(COMPARISON_WORDS[verdict.outcome], OUTCOME_TONES[verdict.outcome])}: after the change, against ${name}`,
    `  ${verdict.reason}`,
    "",
    ...parts.map(({ scenario, comparison: { outcome, reason } }) => {
      const word = paint(COMPARISON_WORDS[outcome].padEnd(10), OUTCOME_TONES[outcome]);
      return `  ${scenario.padEnd(width)}  ${word}  ${reason}`;
    }),
    ...changed.flatMap(({ scenario, comparison }) => [
      "",
      paint(scenario, "strong"),
      renderComparison(comparison, paint),
    ]),
    "",
  ].join("\n");
}
