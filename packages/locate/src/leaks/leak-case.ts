import { type LinkSegment, layer2Domain } from "@dyetrace/site";
import type { MembershipContext } from "../membership/membership-context.ts";
import { familyOf } from "../run/address-family.ts";
import type { ListenerObservation, MembershipTimers } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, nodesDownTo } from "../site/source-tree.ts";
import { type HiddenCause, hiddenCauses } from "./hidden-cause.ts";
import { ownLeaveBefore } from "./leak-pattern.ts";
import type { LeakSighting, StreamLeaks } from "./leak-sighting.ts";
import { type SlowLeave, slowLeaveOf } from "./slow-leave.ts";
import { SETTLING_MS } from "./stream-stays.ts";
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
  /** Nobody in the layer-2 domain of that node was a member of the group meanwhile, but for the time that joins and leaves take. */
  readonly isUnregistered: boolean;
  /** Somebody there was for that short time. */
  readonly hasPassingMembers: boolean;
  /** Whether other groups leak at the same place: null when none was watched there. */
  readonly doOthersLeak: boolean | null;
  readonly hiddenCauses: readonly (HiddenCause & { readonly name: string })[];
  readonly timers: MembershipTimers;
  /** The longest that frames came after the host's own leave, null unless that is the pattern. */
  readonly leaveTailMs: number | null;
  /** What became of these leaves; null unless that is the pattern. */
  readonly slowLeave: SlowLeave | null;
  /** Set when the leak began as one more group was joined. */
  readonly tableLimit: TableLimit | null;
  /** Set when memberships ran out for want of queries: where these stop on their way. */
  readonly queriesStopAt: readonly string[] | null;
  /** Then: for how long at least nobody had asked before the first frame; null: since before the stream began. */
  readonly quietMs: number | null;
  /** The links among these. */
  readonly queriesStopOn: readonly LinkSegment[];
}

type LeakMembership = Pick<MembershipContext, "leaveSigns" | "timersOf">;

/** Makes cases of sightings, and keeps what several cases of a run ask for. */
export class LeakCases {
  readonly #site: SiteIndex;
  readonly #leaks: readonly StreamLeaks[];
  readonly #staysOf: ReadonlyMap<string, readonly ListenerObservation[]>;
  readonly #queriers: ReadonlySet<number>;
  readonly #membership: LeakMembership;
  readonly #domains: ReadonlySet<string>[] = [];

  /** @param staysOf all stays of the run, by group */
  constructor(
    site: SiteIndex,
    leaks: readonly StreamLeaks[],
    staysOf: ReadonlyMap<string, readonly ListenerObservation[]>,
    queriers: ReadonlySet<number>,
    membership: LeakMembership,
  ) {
    this.#site = site;
    this.#leaks = leaks;
    this.#staysOf = staysOf;
    this.#queriers = queriers;
    this.#membership = membership;
  }

  caseOf({ sightings, queriesStopAt, quietMs }: Pick<LeakCase, "sightings" | "queriesStopAt" | "quietMs">): LeakCase {
    const site = this.#site;
    const leaks = this.#leaks;
    const first = sightings[0] as LeakSighting;
    const ports = distinctPorts(sightings).flatMap((port) => site.segments[port] ?? []);
    const node = ports[0]?.from.node ?? "";
    const portsOfNode = ports.filter((port) => port.from.node === node);
    const streams = new Set(sightings.map((s) => s.facts));
    const concerned = leaks.filter((leak) => streams.has(leak.facts));
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
      isUnregistered: !isExplained && !this.#isAnyMemberDuring(sightings, node, SETTLING_MS),
      hasPassingMembers: !isExplained && this.#isAnyMemberDuring(sightings, node, 0),
      doOthersLeak: isExplained ? null : othersLeak(site, leaks, sightings),
      hiddenCauses: isExplained
        ? []
        : hiddenCauses(site, leaks, sightings, this.#queriers).map((cause) => ({
            ...cause,
            name: site.nodes[cause.node]?.name ?? "",
          })),
      timers: this.#membership.timersOf(familyOf(first.facts.stream.group)),
      slowLeave: isSlow ? slowLeaveOf(sightings, this.#membership.leaveSigns) : null,
      leaveTailMs: isSlow ? sightings.reduce((longest, one) => Math.max(longest, leaveTail(one)), 0) : null,
      tableLimit: isExplained ? null : tableLimit(leaks, sightings),
      queriesStopAt,
      quietMs,
      queriesStopOn: (queriesStopAt ?? []).flatMap((name) => site.segments[site.segmentNumber.get(name) ?? -1] ?? []),
    };
  }

  /** Some host of the node's layer-2 domain was a member while any of these frames were seen, but for this long at their ends. */
  #isAnyMemberDuring(sightings: readonly LeakSighting[], node: string, settlingMs: number): boolean {
    const domain = this.#domainOf(node);
    const staysInDomain = new Map<string, readonly ListenerObservation[]>();
    return sightings.some(({ facts, seen: { bystander } }) => {
      const { group } = facts.stream;
      const stays = staysInDomain.get(group) ?? (this.#staysOf.get(group) ?? []).filter(({ host }) => domain.has(host));
      staysInDomain.set(group, stays);
      const firstMs = bystander.firstMs ?? Number.NEGATIVE_INFINITY;
      const lastMs = bystander.lastMs ?? Number.POSITIVE_INFINITY;
      return stays.some(
        ({ joinedFromMs, joinedToMs }) =>
          joinedFromMs < lastMs - settlingMs && (joinedToMs ?? Number.POSITIVE_INFINITY) > firstMs + settlingMs,
      );
    });
  }

  /** Switches of one domain have it in common; a router stands in several. */
  #domainOf(node: string): ReadonlySet<string> {
    const { graph } = this.#site;
    const isRouter = graph.nodes.get(node)?.kind === "router";
    const known = isRouter ? undefined : this.#domains.find((domain) => domain.has(node));
    if (known !== undefined) return known;
    const domain = layer2Domain(graph, node);
    if (!isRouter) this.#domains.push(domain);
    return domain;
  }
}

function distinctPorts(sightings: readonly LeakSighting[]): number[] {
  const ports = new Set<number>();
  for (const { closedPorts } of sightings) for (const port of closedPorts) ports.add(port);
  return [...ports];
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

function leaveTail({ stays, seen }: LeakSighting): number {
  const firstMs = seen.bystander.firstMs ?? 0;
  const leftMs = ownLeaveBefore(stays, seen.node, firstMs) ?? firstMs;
  return (seen.bystander.lastMs ?? firstMs) - leftMs;
}
