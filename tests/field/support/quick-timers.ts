import type { PracticeTimers } from "@dyetrace/practice";

/**
 * Membership that ages, and leaves that take effect, within seconds; in the proportions of RFC 3376 section 8 with
 * robustness 2: membership is 2 x query + response (8.4), other querier is 2 x query + response / 2 (8.5).
 */
export const QUICK_TIMERS: Partial<PracticeTimers> = {
  queryIntervalMs: 2_000,
  queryResponseIntervalMs: 500,
  membershipIntervalMs: 4_500,
  otherQuerierIntervalMs: 4_250,
};
