import { Fault } from "./fault.ts";

const FORM = /^(\d{4}-\d{2}-\d{2})T(\d{2}:\d{2})(:\d{2})?(\.\d{1,9})?(Z|[+-]\d{2}:\d{2})$/;
const HINT = "Write, for example, 2026-11-25T22:00:00Z, or +01:00 in the place of Z";

/**
 * An instant as RFC 3339 writes it, seconds optional. A day or an hour that no calendar has is none: the 30th of February
 * is not the 2nd of March.
 * @param what names the text in the refusal @returns ms since 1970 @throws {Fault} OPTION_INVALID
 */
export function parseInstantMs(text: string, what: string): number {
  const [, date = "", hoursMinutes = "", seconds = ":00", , zone = ""] = FORM.exec(text) ?? [];
  const ms = date === "" ? Number.NaN : Date.parse(text);
  // The same fields, taken as UTC: a date that was moved on to the next day or month comes out as another.
  const isOnCalendar =
    !Number.isNaN(ms) &&
    new Date(Date.parse(`${date}T${hoursMinutes}${seconds}Z`))
      .toISOString()
      .startsWith(`${date}T${hoursMinutes}${seconds}`);
  if (isOnCalendar && /^(Z|[+-](0\d|1[0-4]):[0-5]\d)$/.test(zone)) return ms;
  const why = /^\d{4}-\d{2}-\d{2}T[0-9:.]+$/.test(text)
    ? "does not say in which time zone it is"
    : "is no date and time";
  throw new Fault("OPTION_INVALID", `${what} ${text.slice(0, 60)} ${why}`, HINT);
}
