import { type IpAddress, isMulticast } from "./ip-address.ts";

/**
 * What a group that is in use has to do with one that a test wants: it is the same; switches and network cards can't tell
 * the two apart; or it lies in the same range that one kind of device keeps to.
 */
export type GroupKinship = "same" | "same-mac" | "same-range";

/** A range that one kind of device keeps to: a test on a free group of it is still in the midst of them. */
interface KeptRange {
  readonly name: string;
  /** Completes "… lies in 239.69.0.0/16, …". */
  readonly use: string;
  readonly holds: (group: IpAddress) => boolean;
}

const KEPT_RANGES: readonly KeptRange[] = [
  {
    name: "224.0.1.129 to 224.0.1.132",
    use: "where clocks of the Precision Time Protocol talk (IANA's registry of IPv4 multicast addresses)",
    holds: ({ family, bytes: [a, b, c, d = 0] }) =>
      family === 4 && a === 224 && b === 0 && c === 1 && d >= 129 && d <= 132,
  },
  {
    name: "239.69.0.0/16",
    use: "where devices for audio over IP send by default (common practice, no source)",
    holds: ({ family, bytes: [a, b] }) => family === 4 && a === 239 && b === 69,
  },
];

/** @returns the range of clocks or audio devices that a group lies in, null for all others */
export const keptRangeOf = (group: IpAddress): Pick<KeptRange, "name" | "use"> | null =>
  KEPT_RANGES.find(({ holds }) => holds(group)) ?? null;

/**
 * @returns null where frames to `other` do not concern whoever sends to `group`
 * @see RFC 1112, section 6.4: 32 IPv4 groups have one Ethernet address; RFC 2464, section 7: so have IPv6 groups whose
 * last 32 bits are the same
 */
export function groupKinship(group: IpAddress, other: IpAddress): GroupKinship | null {
  if (group.family !== other.family || !isMulticast(other)) return null;
  if (group.bytes.every((byte, at) => byte === other.bytes[at])) return "same";
  if (groupKey(group.bytes) === groupKey(other.bytes)) return "same-mac";
  return KEPT_RANGES.some(({ holds }) => holds(group) && holds(other)) ? "same-range" : null;
}

/** The bits of a group that its Ethernet address has: 23 of an IPv4 group, 32 of an IPv6 group. */
export function groupKey(bytes: Uint8Array): number {
  const at = bytes.length - 4;
  const last = (((bytes[at] ?? 0) << 24) | ((bytes[at + 1] ?? 0) << 16) | ((bytes[at + 2] ?? 0) << 8)) >>> 0;
  return (bytes.length === 4 ? last & 0x7fffff : last) + (bytes[at + 3] ?? 0);
}
