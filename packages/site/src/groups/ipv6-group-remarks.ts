import { formatIpAddress, groupMac, type IpAddress } from "@dyetrace/wire";
import type { GroupRemark } from "./group-advice.ts";

/** Scopes that RFC 7346 section 2 names, by the low nibble of the second byte. */
const SCOPE_NAMES: ReadonlyMap<number, string> = new Map([
  [1, "interface-local"],
  [2, "link-local"],
  [3, "realm-local"],
  [4, "admin-local"],
  [5, "site-local"],
  [8, "organization-local"],
  [14, "global"],
]);
const FLAG_TRANSIENT = 0x1; // T, RFC 4291 section 2.7
const FLAG_PREFIX = 0x2; // P, RFC 3306
const FLAG_RENDEZVOUS = 0x4; // R, RFC 3956

/**
 * @param group an IPv6 group
 * @param crossesRouter whether a listener lies beyond a router; null when that is not known
 */
export function ipv6GroupRemarks(group: IpAddress, crossesRouter: boolean | null): GroupRemark[] {
  const scope = scopeRemarks(group, crossesRouter);
  if (scope.some((remark) => remark.level === "refuse")) return scope; // nothing else matters then
  return [...scope, ...flagRemarks(group), ...sourceSpecificRemarks(group), ...macRemarks(group)];
}

function scopeRemarks(group: IpAddress, crossesRouter: boolean | null): GroupRemark[] {
  const text = formatIpAddress(group.bytes);
  const scope = byteAt(group, 1) & 0xf;
  const reference = "RFC 7346 section 2";
  if (scope === 0)
    return [
      {
        level: "refuse",
        code: "link-local-block",
        sentence: `${text} has the reserved scope 0 and must not be sent`,
        reference: "RFC 4291 section 2.7",
      },
    ];
  if (scope <= 2) {
    const name = SCOPE_NAMES.get(scope) ?? "";
    const sentence = `${text} is ${name}: the network's own protocols live there, and no router forwards it`;
    return [{ level: "refuse", code: "link-local-block", sentence, reference }];
  }
  if (scope === 3 && crossesRouter === true) {
    const sentence = `${text} is realm-local and a listener lies beyond a router: use site-local (ff15::) or wider`;
    return [{ level: "warn", code: "scope-too-small", sentence, reference }];
  }
  if (SCOPE_NAMES.has(scope)) return [];
  const sentence = `${text} has the scope ${scope.toString(16)}, which has no meaning of its own: use site-local (ff15::) or organization-local (ff18::)`;
  return [{ level: "note", code: "scope-unassigned", sentence, reference }];
}

function flagRemarks(group: IpAddress): GroupRemark[] {
  const text = formatIpAddress(group.bytes);
  const flags = byteAt(group, 1) >> 4;
  if (isDocumentation(group)) {
    const sentence = `${text} lies in a range kept for documentation: fine in an example, not on a live site`;
    return [{ level: "note", code: "documentation", sentence, reference: "RFC 6676 section 3" }];
  }
  const needsPrefix = (flags & FLAG_RENDEZVOUS) !== 0 && (flags & FLAG_PREFIX) === 0;
  const needsTransient = (flags & FLAG_PREFIX) !== 0 && (flags & FLAG_TRANSIENT) === 0;
  if (needsPrefix || needsTransient) {
    const sentence = `${text} sets the flag ${needsPrefix ? "R without P" : "P without T"}, which no group may`;
    return [
      {
        level: "warn",
        code: "flags-invalid",
        sentence,
        reference: needsPrefix ? "RFC 3956 section 3" : "RFC 3306 section 4",
      },
    ];
  }
  if ((flags & FLAG_TRANSIENT) !== 0) return [];
  const sentence = `${text} is not marked transient, so IANA assigns it: use ff1x:: with the same scope`;
  return [{ level: "warn", code: "well-known-group", sentence, reference: "RFC 4291 section 2.7" }];
}

/** ff3x::/32. Only the last quarter of group ids is free for hosts to choose. */
function sourceSpecificRemarks(group: IpAddress): GroupRemark[] {
  const isInRange = byteAt(group, 1) >> 4 === 3 && byteAt(group, 2) === 0 && byteAt(group, 3) === 0;
  if (!isInRange || byteAt(group, 12) >= 0x80) return [];
  const text = formatIpAddress(group.bytes);
  const why =
    byteAt(group, 12) >= 0x40
      ? "is kept for assignment by IANA"
      : "has a group id that source-specific groups may not have";
  const sentence = `${text} ${why}: use ff3x::8000:0 to ff3x::ffff:ffff`;
  return [{ level: "warn", code: "ssm-reserved", sentence, reference: "RFC 4607 section 1" }];
}

/** Group ids of 255 and below share their Ethernet address with the ff02:: groups of the network's own protocols. */
function macRemarks(group: IpAddress): GroupRemark[] {
  const isSmall = byteAt(group, 12) === 0 && byteAt(group, 13) === 0 && byteAt(group, 14) === 0;
  const isSolicitedNode = byteAt(group, 12) === 0xff;
  if (!isSmall && !isSolicitedNode) return [];
  const text = formatIpAddress(group.bytes);
  const owner = isSmall ? `ff02::${byteAt(group, 15).toString(16)}` : "a solicited-node group of neighbour discovery";
  const why = isSmall ? "switches flood it" : "some switches flood it";
  return [
    {
      level: isSmall ? "refuse" : "warn",
      code: "reserved-mac",
      sentence: `${text} has the Ethernet address ${groupMac(group)}, which ${owner} has too: ${why}, so choose another group id`,
      reference: "RFC 2464 section 7, RFC 4541 section 3",
    },
  ];
}

/** ff0X::db8:0:0/96 (section 3), and groups built from the prefix 2001:db8::/32 (sections 3.1 and 3.2). */
function isDocumentation({ bytes }: IpAddress): boolean {
  const isPrefixBased = ((bytes[1] ?? 0) & 0x30) === 0x30;
  const hex = (from: number, to: number): string =>
    Array.from(bytes.subarray(from, to), (byte) => byte.toString(16).padStart(2, "0")).join("");
  if (isPrefixBased) return hex(4, 8) === "20010db8";
  return (bytes[1] ?? 0) >> 4 === 0 && hex(2, 12) === "00000000000000000db8";
}

const byteAt = (group: IpAddress, at: number): number => group.bytes[at] ?? 0;
