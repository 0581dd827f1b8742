import { formatCount } from "@dyetrace/wire";

/** `12 MB`; of less than a whole megabyte, 1 MB. */
export const formatBytes = (bytes: number): string => `${formatCount(Math.max(1, Math.round(bytes / 1e6)))} MB`;

const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const two = (value: number): string => String(value).padStart(2, "0");

/** `14:38:53`, on this page's clock. */
export const formatClock = (date: Date): string =>
  `${two(date.getHours())}:${two(date.getMinutes())}:${two(date.getSeconds())}`;

/** `25 Nov 2026`, on this page's clock. @param iso ISO 8601 */
export function formatDay(iso: string): string {
  const date = new Date(iso);
  return `${date.getDate()} ${MONTHS[date.getMonth()] ?? ""} ${date.getFullYear()}`;
}

/** `25 Nov 2026, 14:38`, on this page's clock. @param iso ISO 8601 */
export function formatInstant(iso: string): string {
  const date = new Date(iso);
  return `${formatDay(iso)}, ${two(date.getHours())}:${two(date.getMinutes())}`;
}

const MOST_NAMED = 12;
/** The first few names, and how many more. */
export const nameSome = (names: readonly string[], most: number = MOST_NAMED): string =>
  names.length <= most ? names.join(", ") : `${names.slice(0, most).join(", ")} and ${names.length - most} more`;
