/**
 * What of the time before a run its first report carries: past a querier's default interval and its other-querier-present
 * time (RFC 3376, section 8).
 */
export const MEMBERSHIP_HISTORY_NS = 300e9;
/** Of queries and hellos together the latest so many, and of all other messages as many. */
export const MEMBERSHIP_HISTORY_MESSAGES = 128;
