import { type IpAddress, parseIpAddress } from "@dyetrace/wire";
import type { PacketFacts } from "./packet-facts.ts";

/** Whether a rule's condition holds for a packet; null when we cannot tell. */
export type Holds = boolean | null;
type Fields = Readonly<Record<string, unknown>>;
/** Elements of the named sets that a table's rules refer to as `@name`. */
export type NamedSets = ReadonlyMap<string, readonly unknown[]>;

export const fieldsOf = (value: unknown): Fields =>
  typeof value === "object" && value !== null && !Array.isArray(value) ? (value as Fields) : {};

/**
 * One `match` of nftables' JSON form, for a packet. What is not understood is null, never a guess.
 * @see libnftables-json(5)
 */
export function nftMatch(match: Fields, packet: PacketFacts, sets: NamedSets): Holds {
  const value = packetValue(fieldsOf(match["left"]), packet);
  if (value === undefined) return null;
  if (value === NOT_THERE) return false;
  const op = match["op"];
  const held = isAmong(value, match["right"], sets);
  if (op === "==" || op === "in") return held;
  if (op === "!=") return held === null ? null : !held;
  const right = match["right"];
  if (typeof value !== "number" || typeof right !== "number") return null;
  if (op === "<") return value < right;
  if (op === ">") return value > right;
  if (op === "<=") return value <= right;
  return op === ">=" ? value >= right : null;
}

/** The packet has no such field, so that no condition on it holds: a UDP port of an IGMP message. */
const NOT_THERE = Symbol("not there");
type FieldValue = number | string | IpAddress | typeof NOT_THERE | undefined;

/** @returns what the packet has where the rule looks; undefined when we don't know or don't understand */
function packetValue(left: Fields, packet: PacketFacts): FieldValue {
  if ("payload" in left) return payloadValue(fieldsOf(left["payload"]), packet);
  if ("meta" in left) return metaValue(fieldsOf(left["meta"])["key"], packet);
  // a multicast flow is never answered, so connection tracking never calls it established
  if ("ct" in left) return fieldsOf(left["ct"])["key"] === "state" ? "new" : undefined;
  if ("fib" in left) {
    const fib = fieldsOf(left["fib"]);
    const flags = [fib["flags"]].flat();
    return fib["result"] === "type" && flags.length === 1 && flags[0] === "daddr" ? "multicast" : undefined;
  }
  return undefined;
}

function payloadValue(payload: Fields, packet: PacketFacts): FieldValue {
  const { protocol, field } = payload;
  if (protocol === "ip" || protocol === "ip6") {
    if ((protocol === "ip") !== (packet.family === 4)) return NOT_THERE;
    if (field === "daddr") return parseIpAddress(packet.destination) ?? undefined;
    if (field === "saddr") return (packet.source === null ? null : parseIpAddress(packet.source)) ?? undefined;
    if (field === "protocol") return packet.protocol;
    // MLD stands behind a hop-by-hop header, so what the next header field says is not what the packet is
    if (field === "nexthdr") return packet.protocol === "udp" ? "udp" : undefined;
    return undefined;
  }
  if (protocol === "udp" || protocol === "th") {
    if (packet.protocol !== "udp") return protocol === "udp" ? NOT_THERE : undefined;
    return field === "dport" ? (packet.destinationPort ?? undefined) : undefined;
  }
  if (protocol === "igmp" || protocol === "icmpv6") return protocol === packet.protocol ? undefined : NOT_THERE;
  return typeof protocol === "string" && OTHER_PROTOCOLS.has(protocol) ? NOT_THERE : undefined;
}

/** Headers that none of our packets has. */
const OTHER_PROTOCOLS: ReadonlySet<string> = new Set(["tcp", "icmp", "sctp", "dccp", "udplite", "esp", "ah", "arp"]);

function metaValue(key: unknown, packet: PacketFacts): FieldValue {
  switch (key) {
    case "l4proto":
      return packet.protocol;
    case "nfproto":
      return packet.family === 4 ? "ipv4" : "ipv6";
    case "protocol":
      return packet.family === 4 ? "ip" : "ip6";
    case "iif":
    case "iifname":
      return packet.direction === "in" ? packet.interfaceName : undefined;
    case "oif":
    case "oifname":
      return packet.direction === "out" ? packet.interfaceName : undefined;
    case "pkttype":
      return packet.direction === "in" ? "multicast" : undefined;
    default:
      return undefined;
  }
}

/** Numbers that rules may write instead of names (IANA protocol numbers). */
const PROTOCOL_NUMBERS: Readonly<Record<string, number>> = { igmp: 2, udp: 17, icmpv6: 58 };
const NAMES_FOR: Readonly<Record<string, string>> = { "ipv6-icmp": "icmpv6" };

/** Whether `value` is one of what the right side lists: a value, a range, a prefix, a set or a list of these. */
function isAmong(value: Exclude<FieldValue, undefined | typeof NOT_THERE>, right: unknown, sets: NamedSets): Holds {
  if (Array.isArray(right)) return anyHolds(right.map((one) => isAmong(value, one, sets)));
  if (typeof right === "string" && right.startsWith("@")) {
    const elements = sets.get(right.slice(1));
    return elements === undefined ? null : isAmong(value, elements, sets);
  }
  if (typeof right === "number") return typeof value === "number" ? value === right : numberOf(value) === right;
  if (typeof right === "string") return isText(value, right);
  const form = fieldsOf(right);
  if (Array.isArray(form["set"])) return isAmong(value, form["set"], sets);
  if ("elem" in form) return isAmong(value, fieldsOf(form["elem"])["val"], sets); // a set's element with a timeout or counter
  if (Array.isArray(form["range"])) return isInRange(value, form["range"][0], form["range"][1]);
  if ("prefix" in form) return hasPrefix(value, fieldsOf(form["prefix"]));
  return null;
}

const anyHolds = (each: readonly Holds[]): Holds => (each.includes(true) ? true : each.includes(null) ? null : false);

const numberOf = (value: unknown): number | undefined =>
  typeof value === "string" ? PROTOCOL_NUMBERS[value] : undefined;

function isText(value: number | string | IpAddress, right: string): Holds {
  if (typeof value === "number") return null; // a port by its name in /etc/services
  if (typeof value === "string") {
    if (right.endsWith("*")) return value.startsWith(right.slice(0, -1)); // interface names
    return value === (NAMES_FOR[right] ?? right);
  }
  const address = parseIpAddress(right);
  return address === null ? null : compare(value.bytes, address.bytes) === 0;
}

function isInRange(value: number | string | IpAddress, low: unknown, high: unknown): Holds {
  if (typeof value === "number") {
    return typeof low === "number" && typeof high === "number" ? value >= low && value <= high : null;
  }
  if (typeof value === "string" || typeof low !== "string" || typeof high !== "string") return null;
  const from = parseIpAddress(low);
  const to = parseIpAddress(high);
  if (from === null || to === null) return null;
  return compare(value.bytes, from.bytes) >= 0 && compare(value.bytes, to.bytes) <= 0;
}

function hasPrefix(value: number | string | IpAddress, prefix: Fields): Holds {
  const address = typeof prefix["addr"] === "string" ? parseIpAddress(prefix["addr"]) : null;
  const length = prefix["len"];
  if (typeof value !== "object" || address === null || typeof length !== "number") return null;
  if (value.family !== address.family) return false;
  for (let bit = 0; bit < length; bit++) {
    const mask = 0x80 >> (bit & 7);
    const difference = (value.bytes[bit >> 3] ?? 0) ^ (address.bytes[bit >> 3] ?? 0);
    if ((difference & mask) !== 0) return false;
  }
  return true;
}

/** Below, at or above 0 as `a` is lower than, the same as or higher than `b`. */
function compare(a: Uint8Array, b: Uint8Array): number {
  if (a.length !== b.length) return a.length - b.length;
  for (let i = 0; i < a.length; i++) {
    const difference = (a[i] ?? 0) - (b[i] ?? 0);
    if (difference !== 0) return difference;
  }
  return 0;
}
