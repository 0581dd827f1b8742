import type { IpAddress } from "./ip-address.ts";

/**
 * How far packets to a group go by its address alone, whatever their TTL. `host`: they never leave the host. `link`: no
 * router forwards them. `zone`: routers may be set up as the boundary. `global`: the address sets no bound.
 */
export type GroupScope = "host" | "link" | "zone" | "global";

/**
 * The scope that a group's address has: 224.0.0.0/24 is never forwarded (RFC 5771 section 4), 239.0.0.0/8 ends at
 * boundaries that are set up (RFC 2365); of an IPv6 group the low half of its second byte (RFC 4291 section 2.7, RFC 7346
 * section 2: 1 interface-local, 2 link-local, 14 global). Scope 0 is reserved and dropped (RFC 4291 section 2.7).
 */
export function groupScope({ family, bytes }: IpAddress): GroupScope {
  const [first = 0, second = 0, third = 0] = bytes;
  if (family === 4) {
    if (first === 224 && second === 0 && third === 0) return "link";
    return first === 239 ? "zone" : "global";
  }
  const scope = second & 0xf;
  if (scope <= 1) return "host";
  if (scope === 2) return "link";
  return scope >= 14 ? "global" : "zone";
}
