import { COMPARISON_WORDS, sayChance, saySame } from "@dyetrace/wire";
import type { Change } from "../compare/changes.ts";
import type { RunComparison } from "../compare/compare-runs.ts";
import type { Comparison, Outcome } from "../compare/comparison.ts";
import type { Paint, Tone } from "./terminal-paint.ts";

export const OUTCOME_TONES: Readonly<Record<Outcome, Tone>> = {
  worse: "bad",
  better: "good",
  same: "good",
  "cant-tell": "doubt",
};
/** Undecided comparisons that are listed; the rest is counted. */
const MOST_UNDECIDED = 8;

/** A comparison for people at a terminal: what changed and where, and how much of the rest is known to be the same. */
export function renderComparison(comparison: RunComparison, paint: Paint): string {
  const { outcome, reason, changes, comparisons, notes, run, against } = comparison;
  const lines = [
    "",
    `${paint(COMPARISON_WORDS[outcome], OUTCOME_TONES[outcome])}: run ${run} against ${against}`,
    `  ${reason}`,
  ];
  for (const change of changes) {
    const where =
      change.stream === null ? (change.listeners.length > 0 ? " of all streams together" : "") : ` of ${change.stream}`;
    lines.push(
      "",
      `  ${paint(COMPARISON_WORDS[change.outcome].toUpperCase(), OUTCOME_TONES[change.outcome])}  ${change.what}${where}`,
    );
    if (change.listeners.length > 0) lines.push(`    at         ${change.listeners.join(", ")}`);
    lines.push(`    suspects   ${change.places.length === 0 ? "none can be named" : change.places.join(", ")}`);
    if (change.confidence !== undefined) lines.push(`    confidence ${Math.round(change.confidence * 100)} %`);
    for (const one of membersOf(change, comparisons)) lines.push(`    ${figures(one)}`);
  }
  const undecided = comparisons.filter((one) => one.outcome === "cant-tell");
  if (undecided.length > 0) {
    lines.push("", paint(`Can't tell (${undecided.length})`, "doubt"));
    for (const one of undecided.slice(0, MOST_UNDECIDED)) lines.push(`  ${one.what} ${figures(one)}: ${one.because}`);
  }
  const same = comparisons.filter((one) => one.outcome === "same").length;
  lines.push("", saySame(same, comparisons.length), ...notes.map((note) => `Note: ${note}`), "");
  return lines.join("\n");
}

/** Of a change at some listeners, their own comparisons alone. */
const membersOf = (
  { what, stream, outcome, listeners }: Change,
  comparisons: readonly Comparison[],
): readonly Comparison[] =>
  comparisons.filter(
    (one) =>
      one.what === what &&
      one.stream === stream &&
      one.outcome === outcome &&
      (one.listener === null || listeners.includes(one.listener)),
  );

function figures({ stream, listener, places, before, after, p }: Comparison): string {
  const who = listener ?? (stream === null ? places.join(", ") : `${stream}, all listeners`);
  const chance = p === null ? "" : ` (${sayChance(p)})`;
  return `${who}: ${before} -> ${after}${chance}`;
}
