import { formatDurationNs } from "@dyetrace/wire/units";

const MINUTES_FROM_MS = 600_000;

/** `0 s`, `12.3 ms`, `4.5 s`, `260 s`: in seconds for as long as the standards' timers are, which they write in seconds. */
export function sayMs(ms: number): string {
  if (ms === 0) return "0 s";
  if (Math.abs(ms) < 1000 || Math.abs(ms) >= MINUTES_FROM_MS) return formatDurationNs(ms * 1e6);
  return `${Number((ms / 1000).toPrecision(3))} s`;
}
