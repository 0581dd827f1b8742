import type { Finding } from "../finding/finding.ts";
import { meanLog } from "./suspect-weights.ts";

/** Nothing that somebody else counted makes a finding surer than this. Our choice, no source. */
const MOST_CONFIDENCE = 0.99;

/**
 * The chance that the cause is among the suspects that are left, by Bayes' rule: before the devices were asked it was among the
 * finding's own with its confidence, in each as likely, and otherwise somewhere else on the way.
 * @param logs of each of the finding's suspects, log likelihood of what devices say; null: nothing said of it, so no news
 * @param elsewhere the same where the cause is none of them; null where nothing tells
 * @param left of its suspects
 */
export function confidenceByDevices(
  { suspects, confidence }: Pick<Finding, "suspects" | "confidence">,
  logs: readonly (number | null)[],
  elsewhere: number | null,
  left: readonly string[],
): number {
  const known = logs.filter((log) => log !== null);
  if (known.length === 0 || confidence <= 0) return confidence;
  const middle = meanLog(known);
  const all = [...logs.map((log) => log ?? middle), elsewhere ?? middle];
  const most = Math.max(...all);
  const each = confidence / suspects.length;
  const weights = all.map((log, index) => (index < suspects.length ? each : 1 - confidence) * Math.exp(log - most));
  const sum = weights.reduce((total, weight) => total + weight, 0);
  const inLeft = suspects.reduce((total, one, index) => total + (left.includes(one) ? (weights[index] ?? 0) : 0), 0);
  // What the agents alone were surer of is not lowered by devices that say the same.
  return Math.round(Math.min(Math.max(MOST_CONFIDENCE, confidence), inLeft / sum) * 100) / 100;
}
