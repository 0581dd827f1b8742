import { type LinkSegment, layer2Domain } from "@dyetrace/site";
import type { MembershipTimers } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, nodesDownTo } from "../site/source-tree.ts";
import { type HiddenCause, hiddenCauses } from "./hidden-cause.ts";
import { ownLeaveBefore } from "./leak-pattern.ts";
import type { LeakSighting, StreamLeaks } from "./leak-sighting.ts";
import { type TableLimit, tableLimit } from "./table-limit.ts";

/** Frames where they should not be, that have a closed port in common. */
export interface LeakCase {
  readonly streams: readonly string[];
  readonly sightings: readonly LeakSighting[];
  readonly hosts: readonly string[];
  /** Ports that forwarded although they should be closed; the first is where the stream left the wanted region. */
  readonly ports: readonly LinkSegment[];
  /** Whether the whole node leaks, one port of it, or nobody can say; about the first port's node. */
  readonly extent: "node" | "port" | "node-or-port";
  /** Nobody in the layer-2 domain of that node has joined the group. */
  readonly isUnregistered: boolean;
  /** Whether other groups leak at the same place: null when none was watched there. */
  readonly doOthersLeak: boolean | null;
  readonly hiddenCauses: readonly (HiddenCause & { readonly name: string })[];
  readonly timers: MembershipTimers;
  /** The longest that frames came after the host's own leave, null unless that is the pattern. */
  readonly leaveTailMs: number | null;
  /** Set when the leak began as one more group was joined. */
  readonly tableLimit: TableLimit | null;
  /** Set when memberships ran out for want of queries: where these stop on their way. */
  readonly queriesStopAt: readonly string[] | null;
}

export function leakCase(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  { sightings, queriesStopAt }: Pick<LeakCase, "sightings" | "queriesStopAt">,
  queriers: ReadonlySet<number>,
  timers: MembershipTimers,
): LeakCase {
  const first = sightings[0] as LeakSighting;
  const ports = [...new Set(sightings.flatMap((s) => s.closedPorts))].flatMap((port) => site.segments[port] ?? []);
  const node = ports[0]?.from.node ?? "";
  const portsOfNode = ports.filter((port) => port.from.node === node);
  const streams = new Set(sightings.map((s) => s.facts));
  const concerned = leaks.filter((leak) => streams.has(leak.facts));
  const domain = layer2Domain(site.graph, node);
  const isSlow = first.pattern === "slow-leave";
  const isExplained = isSlow || queriesStopAt !== null;
  return {
    streams: [...streams].map((facts) => facts.stream.stream),
    sightings,
    hosts: [...new Set(sightings.map((s) => s.seen.bystander.host))],
    ports,
    extent:
      portsOfNode.length > 1
        ? "node"
        : concerned.some((leak) => hasQuietPort(site, leak, node, portsOfNode))
          ? "port"
          : "node-or-port",
    isUnregistered: !isExplained && sightings.every((s) => !hasMemberDuring(site, leaks, s, domain)),
    doOthersLeak: isExplained ? null : othersLeak(site, leaks, sightings),
    hiddenCauses: isExplained
      ? []
      : hiddenCauses(site, leaks, sightings, queriers).map((cause) => ({
          ...cause,
          name: site.nodes[cause.node]?.name ?? "",
        })),
    timers,
    leaveTailMs: isSlow ? Math.max(...sightings.map(leaveTail)) : null,
    tableLimit: isExplained ? null : tableLimit(leaks, sightings),
    queriesStopAt,
  };
}

/**
 * A bystander that could see and saw nothing sits behind another closed port of the node, with no further closed port
 * in between that would have kept the frames from it.
 */
function hasQuietPort(
  site: SiteIndex,
  { facts, wanted, quiet }: StreamLeaks,
  node: string,
  leaking: readonly LinkSegment[],
): boolean {
  return quiet.some((one) => {
    const path = nodesDownTo(facts.tree, one.node);
    const step = path.findIndex((at) => site.segments[facts.tree.into[at] ?? -1]?.from.node === node);
    const behind = path[step];
    if (behind === undefined || wanted.isOpen[behind] === true) return false;
    const port = site.segments[facts.tree.into[behind] ?? -1];
    const staysOpen = path.slice(step + 1).every((at) => wanted.isOpen[at]);
    return staysOpen && leaking.every((other) => other.id !== port?.id);
  });
}

/** Some host of the domain was a member of the group while these frames were seen. */
function hasMemberDuring(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  { facts, seen }: LeakSighting,
  domain: ReadonlySet<string>,
): boolean {
  const firstMs = seen.bystander.firstMs ?? Number.NEGATIVE_INFINITY;
  const lastMs = seen.bystander.lastMs ?? Number.POSITIVE_INFINITY;
  const sameGroup = leaks.filter((leak) => leak.facts.stream.group === facts.stream.group);
  const joined = sameGroup.flatMap(({ facts: { receipts, missing } }) => [
    ...receipts.map((receipt) => receipt.listener),
    ...missing,
  ]);
  return joined.some(
    ({ host, joinedFromMs, joinedToMs }) =>
      domain.has(host) &&
      site.nodeNumber.has(host) &&
      joinedFromMs < lastMs - SETTLING_MS &&
      (joinedToMs ?? Number.POSITIVE_INFINITY) > firstMs + SETTLING_MS,
  );
}

/** A join or a leave takes this long to take effect (RFC 3376, sections 8.11 and 8.8: 1 s between reports, 2 s until a leave). */
const SETTLING_MS = 2_000;

/** Whether other groups, which verifiably passed the node, leak to the same bystanders. */
function othersLeak(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  sightings: readonly LeakSighting[],
): boolean | null {
  const groups = new Set(sightings.map((s) => s.facts.stream.group));
  const hosts = new Set(sightings.map((s) => s.seen.node));
  if (groups.size > 1) return true;
  const node = site.nodeNumber.get(site.segments[sightings[0]?.closedPorts[0] ?? -1]?.from.node ?? "") ?? -1;
  const passed = leaks.filter(
    ({ facts }) =>
      !groups.has(facts.stream.group) &&
      facts.receipts.some(
        (receipt) => receipt.lostPackets < receipt.sentPackets && isAtOrBelow(facts.tree, receipt.node, node),
      ),
  );
  const watched = passed.filter((leak) => leak.quiet.some((quiet) => hosts.has(quiet.node)));
  return watched.length === 0 ? null : false;
}

function leaveTail({ facts, seen }: LeakSighting): number {
  const firstMs = seen.bystander.firstMs ?? 0;
  const leftMs = ownLeaveBefore(facts, seen.node, firstMs) ?? firstMs;
  return (seen.bystander.lastMs ?? firstMs) - leftMs;
}
