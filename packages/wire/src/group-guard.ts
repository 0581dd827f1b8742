import { type AddressRange, isInRange, parseAddressRanges } from "./address-range.ts";
import { formatIpAddress, groupMac, type IpAddress } from "./ip-address.ts";

/** What a host says of the groups that it sends to. */
export interface GroupLimits {
  /** Ranges. A group must lie in one of these… */
  readonly allowedGroups: readonly string[];
  /** …and in none of these, which the host adds to the reserved ones. */
  readonly refusedGroups: readonly string[];
  /** Reserved groups that the host allows all the same. */
  readonly allowedReservedGroups: readonly string[];
  readonly refuseReservedAliases: boolean;
}

export interface GroupRefusal {
  readonly kind: "reserved" | "refused" | "not-allowed" | "alias";
  /** Completes "it does not send there: …". */
  readonly why: string;
}

/** Never sent to unless the host's own file names them as allowed. Those of IPv6 are told by their flags and scope. */
const RESERVED_IPV4_GROUPS: readonly string[] = [
  "224.0.0.0/24", // link-local control, always flooded (RFC 5771 section 4, RFC 4541 2.1.2)
  "224.0.1.0/24", // internetwork control: clocks, announcements (RFC 5771 section 5)
  "232.0.0.0/24", // reserved in the source-specific range (RFC 4607 section 1)
  "239.255.0.0/16", // local scope, where discovery and stage control live (RFC 2365 6.1)
];
/** The same in words, for people. */
export const RESERVED_GROUPS_TEXT: string = `${RESERVED_IPV4_GROUPS.join(", ")}, IPv6 groups without the flag T, and those of the scopes 0, 1, 2 and f`;

const FLAG_TRANSIENT = 0x1; // T, RFC 4291 section 2.7
const SCOPES: Readonly<Record<number, string>> = {
  0: "has the reserved scope 0",
  1: "is interface-local",
  2: "is link-local, where the network's own protocols live",
  15: "has the reserved scope f",
};

/** @returns why nothing is sent to that group, or null @throws {Fault} ADDRESS_INVALID of a range */
export function refuseGroup(group: IpAddress, limits: GroupLimits): GroupRefusal | null {
  const isIn = (texts: readonly string[]): boolean =>
    parseAddressRanges(texts).some((range) => isInRange(group, range));
  const refused = parseAddressRanges(limits.refusedGroups).findIndex((range) => isRefusedBy(group, range));
  if (refused >= 0) return { kind: "refused", why: `its host refuses ${limits.refusedGroups[refused]}` };
  if (!isIn(limits.allowedGroups)) {
    return { kind: "not-allowed", why: `only ${limits.allowedGroups.join(", ") || "no groups"} are allowed` };
  }
  if (isIn(limits.allowedReservedGroups)) return null;
  const reserved = group.family === 4 ? reservedIpv4(group) : reservedIpv6(group);
  if (reserved !== null) return { kind: "reserved", why: reserved };
  if (!limits.refuseReservedAliases || !isAliasOfReserved(group)) return null;
  const why = `its Ethernet address ${groupMac(group)} is that of a link-local group, which switches flood or hand to their processor`;
  return { kind: "alias", why };
}

const reservedIpv4 = (group: IpAddress): string | null => {
  const at = parseAddressRanges(RESERVED_IPV4_GROUPS).findIndex((range) => isInRange(group, range));
  return at < 0 ? null : `${RESERVED_IPV4_GROUPS[at]} is reserved`;
};

/**
 * A scope means the same whatever the flags, and without T a group is one that IANA assigned for good, in whatever scope it
 * is written (RFC 4291 section 2.7).
 */
function reservedIpv6(group: IpAddress): string | null {
  const scope = SCOPES[scopeOf(group)];
  if (scope !== undefined) return `${formatIpAddress(group.bytes)} ${scope} and reserved`;
  if (isTransient(group)) return null;
  return "it has not the flag T, so IANA assigned it for good (RFC 4291), and it is reserved";
}

/**
 * A range of IPv6 groups without T names the scope for all flags, and if it names a group id, that id for all scopes: so a
 * permanent group is meant (RFC 4291 section 2.7), and on Ethernet all of them have one address (RFC 2464 section 7).
 */
function isRefusedBy(group: IpAddress, range: AddressRange): boolean {
  if (isInRange(group, range)) return true;
  if (group.family !== 6 || range.address.family !== 6 || isTransient(range.address) || range.prefixBits < 16)
    return false;
  return range.prefixBits === 16 ? scopeOf(group) === scopeOf(range.address) : isInRange(group, range, 2);
}

/** Group ids of 255 and below have the Ethernet address of a link-local group: RFC 1112 section 6.4, RFC 2464 section 7. */
const isAliasOfReserved = (group: IpAddress): boolean =>
  groupMac(group).startsWith(group.family === 4 ? "01:00:5e:00:00:" : "33:33:00:00:00:");

const scopeOf = ({ bytes }: IpAddress): number => (bytes[1] ?? 0) & 0xf;
const isTransient = ({ bytes }: IpAddress): boolean => (((bytes[1] ?? 0) >> 4) & FLAG_TRANSIENT) !== 0;
