import { Fault } from "@dyetrace/wire/fault";
import { parseInstantMs } from "@dyetrace/wire/instant";

const MINUTE_MS = 60_000;
/** Clocks are put forward and back by an hour, and by half of one on Lord Howe Island (time zone database). */
const MOST_SHIFT_MS = 3 * 60 * MINUTE_MS;

/**
 * The next instant at which the clocks here show a time of day.
 * @param text `22:00` or `6:30`; or a whole instant such as `2026-11-25T22:00:00Z`
 * @param afterMs ms since 1970
 * @returns ms since 1970, later than `afterMs`
 * @throws {Fault} OPTION_INVALID, also on the two days of a year when clocks never show that time, or show it twice
 */
export function nextTimeOfDay(text: string, afterMs: number, option: string): number {
  const clock = /^([01]?[0-9]|2[0-3]):([0-5][0-9])$/.exec(text);
  if (clock === null) {
    if (!/^[0-9]{4}-/.test(text)) throw refused(`${option} ${text} is no time of day`, "Write, for example, 22:00");
    const instantMs = parseInstantMs(text, option);
    if (instantMs > afterMs) return instantMs;
    throw refused(`${option} ${text} is past`, "Write, for example, 22:00");
  }
  const [hours, minutes] = [Number(clock[1]), Number(clock[2])];
  const next = new Date(afterMs);
  next.setHours(hours, minutes, 0, 0);
  if (next.getTime() <= afterMs) {
    next.setDate(next.getDate() + 1);
    next.setHours(hours, minutes, 0, 0); // where the day before had no such time, that was another
  }
  const shows = (ms: number): boolean => new Date(ms).getHours() === hours && new Date(ms).getMinutes() === minutes;
  const day = next.toDateString();
  if (!shows(next.getTime())) {
    throw refused(`${option} ${text}: clocks are put forward past that time on ${day}`, writeWhole([next.getTime()]));
  }
  const twice = sameClockTime(next.getTime());
  if (twice.length === 1) return next.getTime();
  throw refused(`${option} ${text}: clocks are put back on ${day} and show that time twice`, writeWhole(twice));
}

/** The instants at which the clocks here show what they show at that one. */
function sameClockTime(ms: number): number[] {
  const offsetAt = (at: number): number => new Date(at).getTimezoneOffset() * MINUTE_MS;
  const others = [-MOST_SHIFT_MS, MOST_SHIFT_MS]
    .map((by) => ({ away: offsetAt(ms + by), other: ms + offsetAt(ms + by) - offsetAt(ms) }))
    .filter(({ away, other }) => other !== ms && offsetAt(other) === away)
    .map(({ other }) => other);
  return [...new Set([ms, ...others])].toSorted((a, b) => a - b);
}

const writeWhole = (instants: readonly number[]): string =>
  `Write the whole instant: ${instants.map((ms) => new Date(ms).toISOString().replace(".000Z", "Z")).join(" or ")}`;

const refused = (message: string, hint: string): Fault => new Fault("OPTION_INVALID", message, hint);
