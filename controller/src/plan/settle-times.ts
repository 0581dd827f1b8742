/** After the last action: packets under way arrive. */
export const SETTLE_NS = 1e9;
/** A leave takes effect within the last member query time (RFC 3376 8.8: 2 s by default), here twice that. */
export const SETTLE_AFTER_LEAVE_NS = 4e9;
