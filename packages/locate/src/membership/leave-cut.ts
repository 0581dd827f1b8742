import type { LinkSegment } from "@dyetrace/site";
import { clockErrors } from "../run/host-clocks.ts";
import type { MembershipTimers, RunObservations } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow } from "../site/source-tree.ts";

/** A host that left a group. */
export interface Leave {
  readonly host: string;
  readonly node: number;
  readonly group: string;
  readonly atMs: number;
  /** How far the clock that this is told by may be off. */
  readonly clockMs: number;
}

/** A neighbour's leave after which a port was closed although another member sat behind it. */
export interface LeaveCut {
  readonly leave: Leave;
  /** From the leave to the last packet that still came. */
  readonly afterMs: number;
  /** The port that leaver and silent hosts share. */
  readonly port: LinkSegment;
  /** Names of the port, of its switch, and of what lies behind: of all suspects only these fit the leave. */
  readonly places: ReadonlySet<string>;
}

/** The port and its switch first, then what else of the suspects lies behind the port, where reports may be lost. */
export const cutSuspects = ({ port, places }: LeaveCut, suspects: readonly string[]): string[] => [
  port.id,
  port.from.node,
  ...suspects.filter((name) => places.has(name)),
];

/** What a leave may be early or late by, beside the clocks: one packet interval, a repeated leave. Common practice, no source. */
const BEFORE_MS = 200;
const AFTER_MS = 1_500;

/** Leaves that agents saw on the wire, and those that the scenario made. */
export function leavesOf(site: SiteIndex, run: RunObservations): Leave[] {
  const groupOf = new Map(run.streams.map((stream) => [stream.stream, stream.group]));
  const planned = run.listeners
    .filter((listener) => listener.joinedToMs !== null)
    .map(({ host, stream, joinedToMs }) => ({ host, group: groupOf.get(stream) ?? "", atMs: joinedToMs ?? 0 }));
  const seen = run.membership.filter((event) => event.kind === "leave");
  const clockMsOf = clockErrors(run);
  return [...seen, ...planned].flatMap(({ host, group, atMs }) => {
    const node = site.nodeNumber.get(host);
    return node === undefined ? [] : [{ host, node, group, atMs, clockMs: clockMsOf(host) }];
  });
}

/**
 * The leave that explains why these hosts fell silent: of the same group, at about that time or a last member query
 * time before it, by a host behind the same port of a switch or router, behind which nobody was served any more.
 */
export function leaveThatCut(
  site: SiteIndex,
  leaves: readonly Leave[],
  facts: StreamFacts,
  silentNodes: readonly number[],
  servedNodes: readonly number[],
  silentFromMs: number,
  timers: MembershipTimers,
): LeaveCut | null {
  for (const leave of leaves) {
    const afterMs = silentFromMs - leave.atMs;
    if (leave.group !== facts.stream.group || silentNodes.includes(leave.node)) continue;
    const clocksMs = leave.clockMs + facts.clockMs;
    const mostMs = timers.lastMemberMs + AFTER_MS;
    // By clocks that are further apart than a leave takes, any leave would do.
    if (clocksMs > mostMs || afterMs < -BEFORE_MS - clocksMs || afterMs > mostMs + clocksMs) continue;
    const behind = sharedPort(site, facts, [...silentNodes, leave.node]);
    if (behind === null || servedNodes.some((node) => isAtOrBelow(facts.tree, node, behind))) continue;
    const port = site.segments[facts.tree.into[behind] ?? -1];
    if (port === undefined) continue;
    return { leave, afterMs: Math.max(0, afterMs), port, places: placesBehind(site, facts, behind) };
  }
  return null;
}

/** Nodes behind a port, and the links to them in both directions. */
function placesBehind(site: SiteIndex, { tree }: StreamFacts, behind: number): ReadonlySet<string> {
  const places = tree.order
    .filter((node) => isAtOrBelow(tree, node, behind))
    .flatMap((node) => {
      const segment = tree.into[node] ?? -1;
      const back = site.segments[site.reverse[segment] ?? -1];
      return [site.nodes[node]?.name, site.segments[segment]?.id, back?.id];
    });
  return new Set(places.filter((name) => name !== undefined));
}

/** The node behind the lowest port of a switch or router that all these nodes lie behind; null if there is none. */
function sharedPort(site: SiteIndex, { tree }: StreamFacts, nodes: readonly number[]): number | null {
  const [first = -1, ...others] = nodes;
  for (let at = first; at !== tree.source && at !== -1; at = tree.parent[at] ?? -1) {
    const above = site.nodes[tree.parent[at] ?? -1]?.kind;
    if ((above === "switch" || above === "router") && others.every((node) => isAtOrBelow(tree, node, at))) return at;
  }
  return null;
}
