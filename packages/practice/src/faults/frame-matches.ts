import { parseIpAddress } from "@dyetrace/wire";
import { invalid } from "./places.ts";
import type { PacketShare } from "./practice-fault.ts";

/** nftables matches for the frames that faults are about. Types as in RFC 3376 section 4 and RFC 3810 section 5. */

const REPORTS = "igmp type { 0x12, 0x16, 0x22 }";
const LEAVES = "igmp type 0x17";
const MLD_REPORTS = "icmpv6 type { 131, 143 }";
const MLD_DONE = "icmpv6 type 132";

export const QUERY_MATCHES: readonly string[] = ["igmp type 0x11", "icmpv6 type 130"];
export const REPORT_MATCHES: readonly string[] = [REPORTS, LEAVES, MLD_REPORTS, MLD_DONE];

/**
 * Leaves and dones; and reports of version 3 (MLDv2) whose first record ends a membership: changed to include nobody
 * (type 3, no sources) or blocks sources (type 6). The first record begins 8 bytes into either message.
 */
export const LEAVE_MATCHES: readonly string[] = [
  LEAVES,
  MLD_DONE,
  ...["igmp type 0x22", "icmpv6 type 143"].flatMap((report) => [
    `${report} @th,64,8 3 @th,80,16 0`,
    `${report} @th,64,8 6`,
  ]),
];

/** @throws {Fault} PRACTICE_FAULT_INVALID if `group` is no address */
export function groupMatches(group: string | null): readonly string[] {
  if (group === null) return [""];
  return [`${groupFamily(group) === 4 ? "ip" : "ip6"} daddr ${group}`];
}

/** @throws {Fault} PRACTICE_FAULT_INVALID if `group` is no group address */
export function groupFamily(group: string): 4 | 6 {
  const address = parseIpAddress(group);
  const first = address?.bytes[0] ?? 0;
  if (address !== null && (address.family === 4 ? (first & 0xf0) === 0xe0 : first === 0xff)) return address.family;
  throw invalid(`"${group}" is not a group address`, "Write one such as 239.195.10.4");
}

const IPV6_HEADER_BYTES = 40;

/** Packets whose IP length, headers included, is more than `sizeBytes`. The length field of IPv6 leaves its header out. */
export const largerThan = (sizeBytes: number): readonly string[] => [
  `ip length > ${sizeBytes}`,
  `ip6 length > ${Math.max(0, sizeBytes - IPV6_HEADER_BYTES)}`,
];

/** Every pair of the two lists, both holding. */
export const both = (some: readonly string[], others: readonly string[]): readonly string[] =>
  some.flatMap((a) => others.map((b) => [a, b].filter((match) => match !== "").join(" ")));

const MILLION = 1_000_000;

/**
 * What the chosen frames must also fit, so that only a share of them is taken.
 * @throws {Fault} PRACTICE_FAULT_INVALID if the share is finer than one in a million
 */
export function shareMatch(share: PacketShare): string {
  switch (share.kind) {
    case "all":
      return "";
    case "random":
      if (share.ratio * MILLION < 1)
        throw invalid("The share is less than one packet in a million", "Write 0.0001 % or more");
      return `numgen random mod ${MILLION} < ${Math.round(share.ratio * MILLION)} `;
    case "every":
      return `numgen inc mod ${share.n} == ${share.n - 1} `;
  }
}
