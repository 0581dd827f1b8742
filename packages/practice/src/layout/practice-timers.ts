/** The IGMP and MLD timers of every switch of a practice site, in milliseconds (the kernel keeps hundredths of a second). */
export interface PracticeTimers {
  readonly queryIntervalMs: number;
  readonly queryResponseIntervalMs: number;
  readonly startupQueryIntervalMs: number;
  readonly startupQueries: number;
  readonly membershipIntervalMs: number;
  readonly otherQuerierIntervalMs: number;
  readonly lastMemberIntervalMs: number;
  readonly lastMemberQueries: number;
}

/**
 * Short enough for a test of a minute, and in the proportions of RFC 3376 section 8 with robustness 2: membership is
 * 2 x query + response (8.4), other querier is 2 x query + response / 2 (8.5).
 */
export const PRACTICE_TIMERS: PracticeTimers = {
  queryIntervalMs: 10_000,
  queryResponseIntervalMs: 1_000,
  startupQueryIntervalMs: 1_000,
  startupQueries: 2,
  membershipIntervalMs: 21_000,
  otherQuerierIntervalMs: 20_500,
  lastMemberIntervalMs: 1_000,
  lastMemberQueries: 2,
};
