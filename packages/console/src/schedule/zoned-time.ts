const MINUTE_MS = 60_000;
const DAY_MS = 86_400_000;
const FORM = /^(\d{4})-(\d{2})-(\d{2})T(\d{2}):(\d{2})$/;

/**
 * The instants at which clocks of a time zone show a date and time: none where they are put forward past it, two where they
 * are put back.
 * @param text as a `datetime-local` field has it: `2026-11-29T22:00`
 * @param zone a name of the time zone database, such as `Europe/Berlin` or `UTC`
 * @returns ms since 1970, ascending; empty as well where `text` is no date and time
 */
export function instantsAt(text: string, zone: string): readonly number[] {
  const asUtcMs = FORM.test(text) ? Date.parse(`${text}:00Z`) : Number.NaN;
  if (Number.isNaN(asUtcMs)) return [];
  // No zone is more than 14 h from UTC, and none changes its clocks twice within two days.
  const offsets = new Set([-DAY_MS, 0, DAY_MS].map((byMs) => offsetMs(asUtcMs + byMs, zone)));
  return [...offsets]
    .map((offset) => asUtcMs - offset)
    .filter((instant) => instant + offsetMs(instant, zone) === asUtcMs)
    .toSorted((a, b) => a - b);
}

/** What clocks of the zone show at an instant, as a `datetime-local` field wants it. @param ms since 1970 */
export const wallTimeAt = (ms: number, zone: string): string =>
  new Date(ms + offsetMs(ms, zone)).toISOString().slice(0, 16);

/** By how much clocks of the zone are ahead of UTC at that instant. */
function offsetMs(ms: number, zone: string): number {
  const parts = new Intl.DateTimeFormat("en", {
    timeZone: zone,
    hourCycle: "h23",
    ...{ year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric" },
  }).formatToParts(ms);
  const part = (type: Intl.DateTimeFormatPartTypes): number => Number(parts.find((one) => one.type === type)?.value);
  const shownMs = Date.UTC(part("year"), part("month") - 1, part("day"), part("hour"), part("minute"));
  return shownMs - Math.floor(ms / MINUTE_MS) * MINUTE_MS;
}

/** The next time after `afterMs` at which clocks of the zone show the hour, as a `datetime-local` field wants it. */
export function nextHour(hour: number, afterMs: number, zone: string): string {
  const day = (ms: number): string => wallTimeAt(ms, zone).slice(0, 10);
  const at = (ms: number): string => `${day(ms)}T${String(hour).padStart(2, "0")}:00`;
  const today = at(afterMs);
  return today > wallTimeAt(afterMs, zone) ? today : at(afterMs + DAY_MS);
}
