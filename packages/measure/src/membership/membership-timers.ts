import { greatestOf } from "@dyetrace/wire/extremes";
import type { QuerierSeen } from "./querier-seen.ts";

/**
 * Timers of a site as far as its queries tell. `advertised`: the querier states its interval (QQIC). `measured`: it
 * does not, and the interval is taken from the times between general queries. `default`: neither is to be had.
 * With several readings of the same figures the true value lies between `low` and `high`.
 */
export interface MembershipTimers {
  readonly source: "advertised" | "measured" | "default";
  /**
   * How long a switch or router keeps a membership that is not refreshed, ms. Low end: RV x QI + QRI (RFC 2236 8.4,
   * RFC 3376 8.4, RFC 2710 7.4, RFC 3810 9.4). High end: RV x QI + 2 x QRI (RFC 9776 8.4, RFC 9777 9.4).
   */
  readonly membershipIntervalLowMs: number;
  readonly membershipIntervalHighMs: number;
  /** RV x QI + QRI / 2 (RFC 3376 8.5): a silence longer than this ends the other querier present interval, ms. High end. */
  readonly otherQuerierPresentMs: number;
}

const DEFAULT_ROBUSTNESS = 2;
const DEFAULT_INTERVAL_MS = 125_000;
const DEFAULT_RESPONSE_MS = 10_000;
/** A querier starts with this many queries, RV by default and 3 at most sites, at a quarter of the interval (8.6, 8.7). */
const STARTUP_GAPS = 3;
const STARTUP_DIVISOR = 4;

/** @param querier the one whose timers count; null when none was heard */
export function membershipTimers(querier: QuerierSeen | null): MembershipTimers {
  const robustness = querier?.robustness ?? DEFAULT_ROBUSTNESS;
  const responseMs = querier?.maxResponseMs ?? DEFAULT_RESPONSE_MS;
  const interval = queryInterval(querier);
  const timers = {
    membershipIntervalLowMs: robustness * interval.lowMs + responseMs,
    membershipIntervalHighMs: robustness * interval.highMs + 2 * responseMs,
    otherQuerierPresentMs: robustness * interval.highMs + responseMs / 2,
  };
  return { source: interval.source, ...timers };
}

interface QueryInterval {
  readonly source: MembershipTimers["source"];
  readonly lowMs: number;
  readonly highMs: number;
}

function queryInterval(querier: QuerierSeen | null): QueryInterval {
  const times = querier?.generalQueryMs ?? [];
  const gapsMs = times.slice(1).map((atMs, i) => atMs - (times[i] ?? atMs));
  const longestMs = greatestOf(gapsMs, 0);
  const advertisedMs = querier?.intervalAdvertisedMs ?? null;
  if (advertisedMs !== null) {
    return { source: "advertised", lowMs: advertisedMs, highMs: Math.max(advertisedMs, longestMs) };
  }
  if (gapsMs.length === 0) return { source: "default", lowMs: DEFAULT_INTERVAL_MS, highMs: DEFAULT_INTERVAL_MS };
  // until enough gaps are in, all of them may be startup gaps
  const highMs = gapsMs.length < STARTUP_GAPS ? STARTUP_DIVISOR * longestMs : longestMs;
  return { source: "measured", lowMs: querier?.intervalSeenMs ?? longestMs, highMs };
}
