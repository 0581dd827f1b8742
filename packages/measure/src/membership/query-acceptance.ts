import type { MembershipQuery } from "@dyetrace/wire";

/** Why a host that follows the standards does not act on a query; `heeded` when it does. */
export type QueryAcceptance = "heeded" | "bad-checksum" | "not-link-local" | "hop-limit" | "no-router-alert";

/** 0.0.0.0 and :: mark the queries of a switch that has no address or stands in for a querier (RFC 4541, 2.1.1 (4)). */
export const isProxySource = (address: string): boolean => address === "0.0.0.0" || address === "::";

/**
 * Whether hosts act on a query. An IGMP query needs a good checksum only (RFC 3376, section 5.2: no check of TTL or
 * Router Alert is asked of a host). An MLD query must also come from a link-local address with hop limit 1 and a
 * Router Alert option, so one from :: is ignored although RFC 4541 section 3 tells switches to send such.
 * @see RFC 3810, sections 5.1.14 and 6.2
 */
export function queryAcceptance(query: MembershipQuery): QueryAcceptance {
  if (query.checksum === "bad") return "bad-checksum";
  if (query.protocol === "igmp") return "heeded";
  if (!isLinkLocal(query.source)) return "not-link-local";
  if (query.ttlHops !== 1) return "hop-limit";
  return query.hasRouterAlert ? "heeded" : "no-router-alert";
}

/** fe80::/10 in canonical text (RFC 4291, section 2.4). */
const isLinkLocal = (address: string): boolean => /^fe[89ab][0-9a-f]:/.test(address);
