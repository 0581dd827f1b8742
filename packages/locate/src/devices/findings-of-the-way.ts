import type { FindingKind } from "@dyetrace/wire";

/** Findings about what is lost on the way, of which counters may know the place. */
export const OF_THE_WAY: ReadonlySet<FindingKind> = new Set([
  "stops",
  "group-specific",
  "source-specific",
  "size-limited",
  "loses",
  "rate-limited",
]);
