/**
 * How the routers of a practice site learn what to forward: `memberships`, from what they hear, by a small process of
 * ours; `pim-sparse`, by the routing daemon suite in Debian's package frr, speaking PIM sparse mode (RFC 7761).
 */
export type MulticastRouting = "memberships" | "pim-sparse";
