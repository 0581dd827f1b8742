import { formatIpAddress, groupMac, type IpAddress } from "@dyetrace/wire";
import type { GroupRemark } from "./group-advice.ts";

/** What a range of IPv4 groups is for. `refuse` and `warn` as in `AdviceLevel`. */
interface Range extends Omit<GroupRemark, "sentence"> {
  readonly first: string;
  readonly last: string;
  /** Completes "239.255.1.2 lies in …". */
  readonly is: string;
}

/** The blocks of RFC 5771 section 3 and the scopes of RFC 2365 section 6. None overlap; a group in none is fine. */
const RANGES: readonly Range[] = [
  range(
    "224.0.0.0",
    "224.0.0.255",
    "refuse",
    "link-local-block",
    "the local network control block: routing and redundancy protocols live there, and switches flood it",
    "RFC 5771 section 4",
  ),
  range(
    "224.0.1.0",
    "224.0.1.255",
    "refuse",
    "internetwork-control-block",
    "the internetwork control block: clocks and other shared services live there",
    "RFC 5771 section 5",
  ),
  range(
    "224.0.2.0",
    "224.0.255.255",
    "warn",
    "assigned-block",
    "AD-HOC block I, which IANA assigns to single users",
    "RFC 5771 section 6",
  ),
  range("224.1.0.0", "224.1.255.255", "warn", "reserved-block", "a reserved block", "RFC 5771 section 3"),
  range(
    "224.2.0.0",
    "224.2.255.255",
    "warn",
    "assigned-block",
    "the SDP/SAP block, kept for announced sessions",
    "RFC 5771 section 7",
  ),
  range(
    "224.3.0.0",
    "224.4.255.255",
    "warn",
    "assigned-block",
    "AD-HOC block II, which IANA assigns to single users",
    "RFC 5771 section 6",
  ),
  range("224.5.0.0", "231.255.255.255", "warn", "reserved-block", "a reserved block", "RFC 5771 section 3"),
  range(
    "233.0.0.0",
    "233.251.239.255",
    "warn",
    "assigned-block",
    "the GLOP block, where each /24 belongs to an AS number",
    "RFC 5771 section 9",
  ),
  range(
    "233.251.240.0",
    "233.251.255.255",
    "note",
    "documentation",
    "a range kept for documentation: fine in an example, not on a live site",
    "RFC 6676 section 2.2",
  ),
  range(
    "233.252.0.0",
    "233.252.0.255",
    "note",
    "documentation",
    "a range kept for documentation: fine in an example, not on a live site",
    "RFC 6676 section 2",
  ),
  range(
    "233.252.1.0",
    "233.255.255.255",
    "warn",
    "assigned-block",
    "AD-HOC block III, which IANA assigns to single users",
    "RFC 5771 section 6",
  ),
  range(
    "234.0.0.0",
    "234.255.255.255",
    "warn",
    "assigned-block",
    "the unicast-prefix-based block, where groups belong to the owner of a prefix",
    "RFC 6034",
  ),
  range("235.0.0.0", "238.255.255.255", "warn", "reserved-block", "a reserved block", "RFC 5771 section 3"),
  range(
    "239.0.0.0",
    "239.68.255.255",
    "note",
    "unassigned-scope",
    "a scope left unassigned for growth; 239.192.0.0/14 is the organisation's own",
    "RFC 2365 section 6.2",
  ),
  range(
    "239.69.0.0",
    "239.69.255.255",
    "warn",
    "audio-range",
    "the range that devices for audio over IP take by default: choose another, as 239.192.0.0/14",
    "common practice, no source",
  ),
  range(
    "239.70.0.0",
    "239.191.255.255",
    "note",
    "unassigned-scope",
    "a scope left unassigned for growth; 239.192.0.0/14 is the organisation's own",
    "RFC 2365 section 6.2",
  ),
  range(
    "239.196.0.0",
    "239.252.255.255",
    "note",
    "unassigned-scope",
    "no scope that RFC 2365 names; 239.192.0.0/14 is the organisation's own",
    "RFC 2365 section 6",
  ),
  range(
    "239.253.0.0",
    "239.254.255.255",
    "note",
    "unassigned-scope",
    "a range kept for growth of the local scope; 239.192.0.0/14 is the organisation's own",
    "RFC 2365 section 6.1",
  ),
  range(
    "239.255.0.0",
    "239.255.255.255",
    "refuse",
    "local-scope",
    "the local scope, where stage, lighting and discovery protocols act on what they hear",
    "RFC 2365 section 6.1",
  ),
];

function range(
  first: string,
  last: string,
  level: GroupRemark["level"],
  code: GroupRemark["code"],
  is: string,
  reference: string,
): Range {
  return { first, last, level, code, is, reference };
}

/** @param group an IPv4 group */
export function ipv4GroupRemarks(group: IpAddress): GroupRemark[] {
  const text = formatIpAddress(group.bytes);
  const value = toNumber(group.bytes);
  const remarks = RANGES.filter(({ first, last }) => ofText(first) <= value && value <= ofText(last)).map(
    ({ level, code, is, reference }): GroupRemark => ({ level, code, sentence: `${text} lies in ${is}`, reference }),
  );
  const [first = 0, second = 0, third = 0] = group.bytes;
  const isAlias = (second & 0x7f) === 0 && third === 0;
  if (isAlias && !(first === 224 && second === 0)) {
    remarks.push({
      level: "refuse",
      code: "reserved-mac",
      sentence: `${text} has the Ethernet address ${groupMac(group)}, which belongs to 224.0.0.${group.bytes[3] ?? 0}: switches flood it and may hand it to their processor`,
      reference: "RFC 1112 section 6.4, RFC 4541 section 2.1.2",
    });
  }
  return remarks;
}

const toNumber = (bytes: Uint8Array): number => bytes.reduce((value, byte) => value * 256 + byte, 0);
const ofText = (text: string): number => toNumber(Uint8Array.from(text.split("."), Number));
