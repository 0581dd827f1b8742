import { formatCount, formatRateBps, formatRatio } from "@dyetrace/wire";

/** How findings put names and numbers. */

const MOST_NAMES = 4;

/** "a", "a and b", "a, b and 7 more". */
export function nameList(names: readonly string[]): string {
  const distinct = [...new Set(names)];
  if (distinct.length > MOST_NAMES) {
    const shown = distinct.slice(0, MOST_NAMES - 1);
    return `${shown.join(", ")} and ${distinct.length - shown.length} more`;
  }
  if (distinct.length < 2) return distinct.join("");
  return `${distinct.slice(0, -1).join(", ")} and ${distinct.at(-1)}`;
}

/** "12.3 s", "0.25 s". */
export function seconds(ms: number): string {
  const value = ms / 1000;
  return `${Math.abs(value) < 1 ? value.toFixed(2) : value.toFixed(1)} s`;
}

/** "at 12.3 s", or "4.0 s before the run began" where it was then. */
export const instant = (ms: number): string => (ms < 0 ? `${seconds(-ms)} before the run began` : `at ${seconds(ms)}`);

/** A ratio as per cent with three significant figures: "0.38 %", "12.5 %". */
export function percent(ratio: number): string {
  return formatRatio(ratio);
}

/** Payload rate with its unit. */
export function rate(bps: number): string {
  return formatRateBps(bps);
}

/** "1 packet", "3 packets". @param several as of more than one, where it takes more than an s */
export const count = (number: number, noun: string, several = `${noun}s`): string =>
  `${formatCount(number)} ${number === 1 ? noun : several}`;

/** "stops" of one, "stop" of several. @param plural the verb as several do it */
export const verb = (names: readonly string[], plural: string): string => (names.length === 1 ? `${plural}s` : plural);
