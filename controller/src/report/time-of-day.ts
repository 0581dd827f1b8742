/** Where these words are read: the zone of the machine, or another by its IANA name. */
type Zone = string | undefined;

const format = (options: Intl.DateTimeFormatOptions, zone: Zone): Intl.DateTimeFormat =>
  new Intl.DateTimeFormat("en-GB", { ...options, hourCycle: "h23", ...(zone === undefined ? {} : { timeZone: zone }) });

/**
 * A time of a run on the clock of the wall where it is read: one clock in every output, with its zone said once.
 * @param startedAt ISO 8601
 * @returns `02:14:05`
 */
export function timeOfDay(startedAt: string, atMs: number, zone?: Zone): string {
  const parts = { hour: "2-digit", minute: "2-digit", second: "2-digit" } as const;
  return format(parts, zone).format(Date.parse(startedAt) + atMs);
}

/** The zone of `timeOfDay` at an instant, such as `UTC+01:00`. */
export function zoneAt(iso: string, zone?: Zone): string {
  const parts = format({ timeZoneName: "longOffset" }, zone).formatToParts(Date.parse(iso));
  const name = parts.find(({ type }) => type === "timeZoneName")?.value ?? "GMT";
  return name.replace("GMT", "UTC").replace("+00:00", "");
}

/** `2026-11-29 02:14:05 UTC+01:00`. */
export function dateAndTime(iso: string, zone?: Zone): string {
  const parts = format({ year: "numeric", month: "2-digit", day: "2-digit" }, zone).formatToParts(Date.parse(iso));
  const part = (wanted: string): string => parts.find(({ type }) => type === wanted)?.value ?? "";
  return `${part("year")}-${part("month")}-${part("day")} ${timeOfDay(iso, 0, zone)} ${zoneAt(iso, zone)}`;
}
