import type { MembershipEvent, PimHello } from "@dyetrace/wire";
import { type MembershipTimers, membershipTimers } from "./membership-timers.ts";
import { electQuerier } from "./querier-election.ts";
import { type QuerierSeen, queriersSeen } from "./querier-seen.ts";

/** One record of a report, or one leave. Times in ms after the run's start. */
export interface MembershipNotice {
  readonly atMs: number;
  readonly kind: "report" | "leave";
  /** Source address, which may be 0.0.0.0 or ::, and MAC address of who sent it. */
  readonly reporter: string;
  readonly mac: string;
  readonly family: 4 | 6;
  readonly version: 1 | 2 | 3;
  readonly group: string;
  /** Empty for any source. */
  readonly sources: readonly string[];
}

export interface PimNeighbour {
  readonly address: string;
  readonly family: 4 | 6;
  readonly firstMs: number;
  readonly lastMs: number;
  readonly hellos: number;
  /** Of the latest hello. */
  readonly holdtimeMs: PimHello["holdtimeMs"];
  readonly designatedRouterPriority: number | null;
  /** How often the generation id changed: restarts of the router or of its interface. */
  readonly restarts: number;
}

export interface FamilyMembership {
  /** Lowest address that takes part in the election; null when no such query was heard. */
  readonly electedQuerier: string | null;
  /** Latest general query that hosts act on, from anybody; null when none was heard. */
  readonly lastQueryMs: number | null;
  /**
   * Set when queries were heard and then stayed away for longer than the other-querier-present interval: the last one.
   * Null says "not known to have stopped"; whether there ever were queries is in `lastQueryMs`.
   */
  readonly queriesStoppedMs: number | null;
  readonly timers: MembershipTimers;
}

/**
 * What one host heard and sent of IGMP, MLD and PIM between two instants. Messages with a VLAN tag belong to another
 * network than the interface's own: their queriers are listed, nothing else of them counts.
 */
export interface MembershipView {
  readonly fromMs: number;
  readonly untilMs: number;
  readonly queriers: readonly QuerierSeen[];
  readonly ipv4: FamilyMembership;
  readonly ipv6: FamilyMembership;
  /** What this host itself sent, as it left on the wire. */
  readonly own: readonly MembershipNotice[];
  /** What it heard of others. A switch that follows RFC 4541 2.1.1 (1) shows it to router ports only. */
  readonly others: readonly MembershipNotice[];
  readonly pimNeighbours: readonly PimNeighbour[];
  /** Messages that everybody must ignore. */
  readonly badChecksums: number;
  readonly malformed: number;
}

export interface WatchedTime {
  readonly fromMs: number;
  readonly untilMs: number;
}

/**
 * @param events of one interface, ascending in time; some may be from before `watched`
 * @param watched between which instants (ms after the run's start) the host watched without a break
 */
export function viewMembership(events: readonly MembershipEvent[], watched: WatchedTime): MembershipView {
  const queriers = queriersSeen(events);
  const untagged = events.filter(({ message }) => message.vlanId === null);
  return {
    ...watched,
    queriers,
    ipv4: viewFamily(queriers, 4, watched),
    ipv6: viewFamily(queriers, 6, watched),
    own: untagged.filter((event) => event.direction === "out").flatMap(noticesOf),
    others: untagged.filter((event) => event.direction === "in").flatMap(noticesOf),
    pimNeighbours: pimNeighbours(untagged),
    badChecksums: untagged.filter(({ message }) => message.kind !== "malformed" && message.checksum === "bad").length,
    malformed: untagged.filter(({ message }) => message.kind === "malformed").length,
  };
}

function viewFamily(queriers: readonly QuerierSeen[], family: 4 | 6, watched: WatchedTime): FamilyMembership {
  const heeded = queriers
    .filter((querier) => querier.family === family && querier.vlanId === null)
    .filter((querier) => querier.acceptance === "heeded" && querier.queries > 0)
    .toSorted((a, b) => lastGeneralMs(b) - lastGeneralMs(a));
  const latest = heeded[0] ?? null;
  const lastQueryMs = latest === null ? null : lastGeneralMs(latest);
  // a querier that another has replaced by now stands for election no more
  const inOffice = heeded.filter(
    (querier) => (lastQueryMs ?? 0) - lastGeneralMs(querier) <= membershipTimers(querier).otherQuerierPresentMs,
  );
  const electedQuerier = electQuerier(inOffice.map((querier) => querier.address));
  const timers = membershipTimers(inOffice.find((querier) => querier.address === electedQuerier) ?? latest);
  // a silence before the watch began, or while it was broken, is none that we heard
  const silentMs = watched.untilMs - Math.max(lastQueryMs ?? 0, watched.fromMs);
  const isStopped = lastQueryMs !== null && silentMs > timers.otherQuerierPresentMs;
  return { electedQuerier, lastQueryMs, queriesStoppedMs: isStopped ? lastQueryMs : null, timers };
}

const lastGeneralMs = (querier: QuerierSeen): number => querier.generalQueryMs.at(-1) ?? Number.NEGATIVE_INFINITY;

function noticesOf({ atNs, message }: MembershipEvent): readonly MembershipNotice[] {
  if ((message.kind !== "report" && message.kind !== "leave") || message.checksum === "bad") return [];
  const shared = {
    atMs: atNs / 1e6,
    reporter: message.source,
    mac: message.sourceMac,
    family: message.family,
    version: message.version,
  };
  if (message.kind === "leave") return [{ ...shared, kind: "leave", group: message.group, sources: [] }];
  return message.records
    .filter((record) => record.type !== "unknown")
    .map(({ type, group, sources }) => {
      const isLeave = type === "BLOCK" || (type === "TO_IN" && sources.length === 0);
      return { ...shared, kind: isLeave ? "leave" : "report", group, sources };
    });
}

function pimNeighbours(events: readonly MembershipEvent[]): readonly PimNeighbour[] {
  const heard = new Map<string, { readonly neighbour: PimNeighbour; readonly generationId: number | null }>();
  for (const { atNs, direction, message } of events) {
    if (message.kind !== "pim-hello" || message.checksum === "bad" || direction === "out") continue;
    const before = heard.get(message.source);
    const isRestart = before !== undefined && before.generationId !== message.generationId;
    heard.set(message.source, {
      generationId: message.generationId,
      neighbour: {
        address: message.source,
        family: message.family,
        firstMs: before?.neighbour.firstMs ?? atNs / 1e6,
        lastMs: atNs / 1e6,
        hellos: (before?.neighbour.hellos ?? 0) + 1,
        holdtimeMs: message.holdtimeMs,
        designatedRouterPriority: message.designatedRouterPriority,
        restarts: (before?.neighbour.restarts ?? 0) + (isRestart ? 1 : 0),
      },
    });
  }
  return [...heard.values()].map((entry) => entry.neighbour);
}
