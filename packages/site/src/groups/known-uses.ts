import { type AddressRange, groupScope, type IpAddress, isInRange, parseAddressRange } from "@dyetrace/wire";

/** Where the uses below are from, for whoever reads an inventory. Entries without an RFC or a standard are from memory. */
export const KNOWN_USES_SOURCE =
  "a selection of IANA's registries of multicast addresses, written down on 2026-11-30 (the IPv6 registry was of 2025-05-30, the IPv4 entries are as their RFCs have them), with the blocks of RFC 5771, RFC 2365, RFC 4291 and RFC 7346";

/** What one range of groups is for. */
export interface KnownUse {
  readonly use: string;
  /** Whether the network's own protocols or discovery live there: nothing of a test has any business with it. */
  readonly isControl: boolean;
}

interface Entry extends KnownUse {
  readonly range: AddressRange;
}

const entry = (range: string, use: string, isControl = false): Entry => ({
  range: parseAddressRange(range),
  use,
  isControl,
});
const control = (range: string, use: string): Entry => entry(range, use, true);

/** From the most particular to the widest: the first that holds a group says what it is for. */
const IPV4: readonly Entry[] = [
  control("224.0.0.1", "all hosts of the link (RFC 1112)"),
  control("224.0.0.2", "all routers of the link (RFC 1112)"),
  control("224.0.0.4", "routers that speak DVMRP (RFC 1075)"),
  control("224.0.0.5", "OSPF, all routers (RFC 2328)"),
  control("224.0.0.6", "OSPF, designated routers (RFC 2328)"),
  control("224.0.0.9", "RIP version 2 (RFC 2453)"),
  control("224.0.0.13", "PIM, all routers (RFC 7761)"),
  control("224.0.0.18", "VRRP (RFC 9568)"),
  control("224.0.0.22", "membership reports of IGMPv3 (RFC 3376)"),
  control("224.0.0.106", "discovery of multicast routers by snooping switches (RFC 4286)"),
  control("224.0.0.107", "Precision Time Protocol, delay between neighbours (IEEE 1588)"),
  control("224.0.0.251", "multicast DNS (RFC 6762)"),
  control("224.0.0.252", "link-local multicast name resolution (RFC 4795)"),
  control("224.0.0.0/24", "the local network control block (RFC 5771 section 4)"),
  control("224.0.1.1", "Network Time Protocol (RFC 5905)"),
  control("224.0.1.22", "service location, version 1 (RFC 2165)"),
  control("224.0.1.39", "announcements of rendezvous points"),
  control("224.0.1.40", "discovery of rendezvous points"),
  control("224.0.1.60", "device discovery"),
  control("224.0.1.75", "SIP, all servers (RFC 3261)"),
  control("224.0.1.129", "Precision Time Protocol (IEEE 1588)"),
  control("224.0.1.130", "Precision Time Protocol, an alternate domain (IEEE 1588)"),
  control("224.0.1.131", "Precision Time Protocol, an alternate domain (IEEE 1588)"),
  control("224.0.1.132", "Precision Time Protocol, an alternate domain (IEEE 1588)"),
  control("224.0.1.187", "CoAP, all nodes (RFC 7252)"),
  control("224.0.1.0/24", "the internetwork control block (RFC 5771 section 5)"),
  control("224.2.127.254", "announcements of sessions, global scope (RFC 2974)"),
  entry("224.2.0.0/16", "the SDP/SAP block, for announced sessions (RFC 5771 section 7)"),
  entry("232.0.0.0/8", "source-specific multicast (RFC 4607)"),
  entry("233.252.0.0/24", "documentation and examples (RFC 6676)"),
  control("239.195.255.255", "announcements of sessions, organisation-local scope (RFC 2974)"),
  control("239.255.255.250", "Simple Service Discovery Protocol (IANA, scope-relative address 5)"),
  control("239.255.255.253", "service location, version 2 (RFC 2608)"),
  control("239.255.255.254", "address allocation servers (RFC 2730)"),
  control("239.255.255.255", "announcements of sessions, local scope (RFC 2974)"),
  entry("239.69.0.0/16", "where devices for audio over IP send by default (common practice, no source)"),
  entry("239.192.0.0/14", "the organisation's own use (RFC 2365 section 6.2)"),
  entry("239.255.0.0/16", "the local scope (RFC 2365 section 6.1)"),
  entry("239.0.0.0/8", "administratively scoped (RFC 2365)"),
  // Blocks that IANA assigns to single users follow: whose an address is, its registry says.
  entry("224.0.0.0/16", "AD-HOC block I (RFC 5771 section 6)"),
  entry("224.3.0.0/16", "AD-HOC block II (RFC 5771 section 6)"),
  entry("224.4.0.0/16", "AD-HOC block II (RFC 5771 section 6)"),
  entry("233.252.0.0/14", "AD-HOC block III (RFC 5771 section 6)"),
  entry("233.0.0.0/8", "the GLOP block, by the owner's AS number (RFC 3180)"),
  entry("234.0.0.0/8", "unicast-prefix-based, by the owner's prefix (RFC 6034)"),
];

/** Of any scope, where the group is a permanent one: as an address of scope 0, flags and scope left out. */
const IPV6_ANY_SCOPE: readonly Entry[] = [
  control("ff00::1", "all nodes (RFC 4291)"),
  control("ff00::2", "all routers (RFC 4291)"),
  control("ff00::5", "OSPF, all routers (RFC 5340)"),
  control("ff00::6", "OSPF, designated routers (RFC 5340)"),
  control("ff00::9", "RIPng (RFC 2080)"),
  control("ff00::c", "Simple Service Discovery Protocol"),
  control("ff00::d", "PIM, all routers (RFC 7761)"),
  control("ff00::12", "VRRP (RFC 9568)"),
  control("ff00::16", "membership reports of MLDv2 (RFC 3810)"),
  control("ff00::1a", "RPL, all nodes (RFC 6550)"),
  control("ff00::6a", "discovery of multicast routers by snooping switches (RFC 4286)"),
  control("ff00::6b", "Precision Time Protocol, delay between neighbours (IEEE 1588)"),
  control("ff00::fb", "multicast DNS (RFC 6762)"),
  control("ff00::fd", "CoAP, all nodes (RFC 7252)"),
  control("ff00::101", "Network Time Protocol (RFC 5905)"),
  control("ff00::116", "service location, version 2 (RFC 3111)"),
  control("ff00::181", "Precision Time Protocol (IEEE 1588)"),
  control("ff00::1:2", "DHCP servers and relays (RFC 8415)"),
  control("ff00::1:3", "link-local name resolution, or DHCP servers (RFC 4795, RFC 8415)"),
  control("ff00::1:1000/118", "service location, version 2 (RFC 3111)"),
  control("ff00::1:ff00:0/104", "solicited-node: who has this address? (RFC 4291 section 2.7.1)"),
  control("ff00::2:ff00:0/104", "node information queries (RFC 4620)"),
  control("ff00::2:7ffe", "announcements of sessions (RFC 2974)"),
];

const SCOPES: ReadonlyMap<number, string> = new Map([
  [1, "interface-local"],
  [2, "link-local"],
  [3, "realm-local"],
  [4, "admin-local"],
  [5, "site-local"],
  [8, "organization-local"],
  [14, "global"],
]);

/** @param group a group address @returns what it is for by registry or standard; null where neither says anything of it */
export function knownUseOf(group: IpAddress): KnownUse | null {
  if (group.family === 4) return firstOf(IPV4, group);
  const [, second = 0] = group.bytes;
  const flags = second >> 4;
  const scope = second & 0x0f;
  const anyScope = { family: 6 as const, bytes: group.bytes.map((byte, at) => (at === 1 ? 0 : byte)) };
  const permanent = flags === 0 ? firstOf(IPV6_ANY_SCOPE, anyScope) : null;
  if (permanent !== null) return permanent;
  const where = SCOPES.get(scope) ?? `unassigned scope ${scope.toString(16)}`;
  const isControl = ["host", "link"].includes(groupScope(group));
  if (flags === 0) return { use: `assigned for good by IANA, ${where} (RFC 4291 section 2.7)`, isControl: true };
  if (flags === 3) {
    const isSourceSpecific = group.bytes[2] === 0 && group.bytes[3] === 0;
    if (isSourceSpecific) return { use: `source-specific multicast, ${where} (RFC 4607)`, isControl };
    return { use: `unicast-prefix-based, ${where} (RFC 3306)`, isControl };
  }
  if (flags === 7) return { use: `with an embedded rendezvous point, ${where} (RFC 3956)`, isControl };
  return flags === 1 ? { use: `transient, ${where} (RFC 4291 section 2.7)`, isControl } : null;
}

function firstOf(entries: readonly Entry[], group: IpAddress): KnownUse | null {
  const found = entries.find(({ range }) => isInRange(group, range));
  return found === undefined ? null : { use: found.use, isControl: found.isControl };
}
