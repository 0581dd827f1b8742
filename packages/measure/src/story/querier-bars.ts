import type { StoryTimer } from "@dyetrace/wire";
import type { Telling } from "./story-marks.ts";
import { otherQuerierValue, type SiteTimers, timerName } from "./timer-values.ts";

/**
 * For each querier the timer that every other querier runs, and that its queries set anew: when it runs out, one of them
 * takes over.
 * @param tellings in the order of time
 * @see RFC 3376, section 6.6.2; RFC 3810, section 7.6.2
 */
export function querierBars(tellings: readonly Telling[], site: SiteTimers | null, untilMs: number): StoryTimer[] {
  const queries = tellings.filter(({ said }) => said.kind === "query");
  const lanes = new Set(queries.map(({ lane }) => lane));
  return [...lanes].flatMap((lane) => {
    const own = queries.filter((one) => one.lane === lane).map(({ said }) => said);
    return own.map((query, index): StoryTimer => {
      const value = otherQuerierValue(own, query.atMs, site);
      const nextMs = own[index + 1]?.atMs ?? Number.POSITIVE_INFINITY;
      const dueMs = query.lastMs + value.valueMs;
      const toMs = Math.min(nextMs, dueMs, untilMs);
      return {
        lane,
        kind: "other-querier",
        ...timerName("other-querier", query.family),
        family: query.family,
        group: null,
        fromMs: query.atMs,
        ...value,
        toMs,
        end: toMs === nextMs ? "renewed" : toMs === dueMs ? "ran-out" : "open",
      };
    });
  });
}
