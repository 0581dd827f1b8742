import { groupBy, groupMac, groupScope, type IpAddress, isSourceSpecific, parseIpAddress } from "@dyetrace/wire";
import type { GroupAdvice, GroupRemark } from "./group-advice.ts";
import { ipv4GroupRemarks } from "./ipv4-group-remarks.ts";
import { ipv6GroupRemarks } from "./ipv6-group-remarks.ts";

export interface LintStream {
  readonly name: string;
  /** A group address, as in `ScenarioStream`. */
  readonly group: string;
  /** Null: nobody knows it. */
  readonly ttl: number | null;
  /** Whether listeners join with a source. */
  readonly isSourceSpecific: boolean;
  /** Routers between the source and its farthest listener; null when that is not known. */
  readonly mostRouters: number | null;
}

/**
 * What is doubtful about the groups that a scenario uses.
 * @returns remarks in the order of the streams, then those about pairs of streams
 * @throws {RangeError} if a `group` is not an address (`loadScenario` has checked them)
 */
export function lintGroups(streams: readonly LintStream[]): GroupAdvice[] {
  const parsed = streams.map((stream): ParsedStream => {
    const group = parseIpAddress(stream.group);
    if (group === null) throw new RangeError(`Cannot lint the group "${stream.group}": it is not an address`);
    return { ...stream, address: group };
  });
  return [...mergeAlike(parsed), ...pairRemarks(parsed)];
}

interface ParsedStream extends LintStream {
  readonly address: IpAddress;
}

function streamRemarks(stream: ParsedStream): GroupRemark[] {
  const { address, group, ttl, mostRouters } = stream;
  const remarks =
    address.family === 4
      ? ipv4GroupRemarks(address)
      : ipv6GroupRemarks(address, mostRouters === null ? null : mostRouters > 0);
  if (isSourceSpecific(address) && !stream.isSourceSpecific) {
    remarks.push({
      level: "warn",
      code: "ssm-without-source",
      sentence: `${group} is source-specific, but the listeners join it without a source: switches and routers may ignore that`,
      reference: "RFC 4607 section 4.1",
    });
  }
  if (!isSourceSpecific(address) && stream.isSourceSpecific) {
    remarks.push({
      level: "note",
      code: "source-outside-ssm",
      sentence: `The listeners join ${group} with a source, but it lies outside the source-specific range: routers may still build a shared tree`,
      reference: "RFC 4607 section 1",
    });
  }
  if (mostRouters !== null && mostRouters > 0) remarks.push(...routedRemarks(stream, mostRouters, ttl));
  return remarks;
}

/** A router drops what arrives with TTL 1 (RFC 1812 section 5.3.1), and a link-local group whatever its TTL. */
function routedRemarks({ address, group }: ParsedStream, mostRouters: number, ttl: number | null): GroupRemark[] {
  const scope = groupScope(address);
  if (scope === "host" || scope === "link") {
    const sentence = `${group} is sent to a listener beyond a router, and no router forwards it, whatever the TTL: choose another group`;
    return [
      { level: "warn", code: "scope-too-small", sentence, reference: "RFC 5771 section 4, RFC 4291 section 2.7" },
    ];
  }
  if (ttl === null || ttl > mostRouters) return [];
  const beyond = mostRouters === 1 ? "a router" : `${mostRouters} routers`;
  const sentence = `${group} is sent with TTL ${ttl} and a listener lies beyond ${beyond}, so it ends before: use a TTL of at least ${mostRouters + 1}`;
  return [{ level: "warn", code: "ttl-too-small", sentence, reference: "RFC 1112 section 6.1" }];
}

/** Streams on one group get one remark. */
function mergeAlike(streams: readonly ParsedStream[]): GroupAdvice[] {
  const merged = new Map<string, GroupAdvice>();
  for (const stream of streams) {
    for (const remark of streamRemarks(stream)) {
      const key = `${remark.code} ${remark.sentence}`;
      merged.set(key, { ...remark, streams: [...(merged.get(key)?.streams ?? []), stream.name] });
    }
  }
  return [...merged.values()];
}

function pairRemarks(streams: readonly ParsedStream[]): GroupAdvice[] {
  const advice: GroupAdvice[] = [];
  for (const [mac, sharing] of groupBy(streams, (stream) => groupMac(stream.address))) {
    const byGroup = groupBy(sharing, (stream) => stream.group);
    for (const [group, together] of byGroup) {
      if (together.length < 2) continue;
      const sentence = `${together.length} streams use the group ${group}: whoever joins one of them is sent all of them`;
      advice.push({
        level: "note",
        code: "shared-group",
        streams: names(together),
        sentence,
        reference: "RFC 1112 section 4",
      });
    }
    if (byGroup.size < 2) continue;
    const groups = [...byGroup.keys()];
    const sentence = `The groups ${groups.join(" and ")} share the Ethernet address ${mac}: a switch that forwards by it sends each to members of the other`;
    const reference = sharing[0]?.address.family === 4 ? "RFC 1112 section 6.4" : "RFC 2464 section 7";
    advice.push({ level: "warn", code: "shared-mac", streams: names(sharing), sentence, reference });
  }
  return advice;
}

const names = (streams: readonly ParsedStream[]): string[] => streams.map((stream) => stream.name);
