import { Fault } from "@dyetrace/wire";

/**
 * The next instant at which the clocks here show a time of day.
 * @param text `22:00` or `6:30`; or a whole instant such as `2026-11-25T22:00:00Z`
 * @param afterMs ms since 1970
 * @returns ms since 1970, later than `afterMs` @throws {Fault} OPTION_INVALID
 */
export function nextTimeOfDay(text: string, afterMs: number, option: string): number {
  const clock = /^([01]?[0-9]|2[0-3]):([0-5][0-9])$/.exec(text);
  if (clock === null) {
    const instantMs = /^[0-9]{4}-/.test(text) ? Date.parse(text) : Number.NaN;
    if (instantMs > afterMs) return instantMs;
    const why = Number.isNaN(instantMs) ? "is no time of day" : "is past";
    throw new Fault("OPTION_INVALID", `${option} ${text} ${why}`, "Write, for example, 22:00");
  }
  const next = new Date(afterMs);
  next.setHours(Number(clock[1]), Number(clock[2]), 0, 0); // local time, whatever summer time does in between
  if (next.getTime() <= afterMs) next.setDate(next.getDate() + 1);
  return next.getTime();
}
