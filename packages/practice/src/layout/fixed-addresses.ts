/** The querier's own, on its bridge: lower than any host's, so that no host could win the election. */
export const QUERIER_ADDRESS = { ipv4: "10.77.1.1", ipv6: "fe80::1:1" } as const;
/** Lower still: the foreign querier of the fault `second-querier`. */
export const FOREIGN_QUERIER_ADDRESS = { ipv4: "10.77.0.1", ipv6: "fe80::1" } as const;
export const MANAGEMENT_ADDRESS = "10.254.0.1";
export const MANAGEMENT_PORT = 8472;
