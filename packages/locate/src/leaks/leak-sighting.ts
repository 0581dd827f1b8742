import { intersectRanges, mergeSequenceRanges } from "@dyetrace/measure";
import type { MembershipTimers, SeqRange } from "../run/run-observations.ts";
import type { PlacedBystander, StreamFacts } from "../run/stream-facts.ts";
import { scopeOf } from "../run/stream-scope.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { nodesDownTo } from "../site/source-tree.ts";
import { isOnlyWithoutMember, type LeakPattern, leakPattern } from "./leak-pattern.ts";
import type { StreamStays } from "./stream-stays.ts";
import { WantedByOthers } from "./wanted-by-others.ts";
import { type WantedPorts, wantedPorts } from "./wanted-ports.ts";

/** Frames of one stream at one bystander outside the stream's wanted region. */
export interface LeakSighting {
  readonly facts: StreamFacts;
  readonly stays: StreamStays;
  readonly seen: PlacedBystander;
  readonly pattern: LeakPattern;
  /** Numbers of the segments out of ports that forwarded although they should be closed, along the path; never empty. */
  readonly closedPorts: readonly number[];
}

/** A stream's wanted region and what bystanders saw outside it. */
export interface StreamLeaks {
  readonly facts: StreamFacts;
  readonly members: ReadonlySet<number>;
  readonly wanted: WantedPorts;
  readonly sightings: readonly LeakSighting[];
  /** What was seen outside it while no membership was in effect: switches may flood then, and it accuses nobody. */
  readonly unregistered: readonly LeakSighting[];
  /** Bystanders that could see and saw nothing. */
  readonly quiet: readonly PlacedBystander[];
}

/**
 * @param members node numbers of all that joined the group, by whichever stream
 * @param queriers node numbers
 */
export function streamLeaks(
  site: SiteIndex,
  facts: StreamFacts,
  stays: StreamStays,
  members: ReadonlySet<number>,
  queriers: ReadonlySet<number>,
  timers: MembershipTimers,
): StreamLeaks {
  const wanted = wantedPorts(site, facts.tree, members, queriers);
  const quiet = facts.bystanders.filter(({ bystander }) => bystander.canSee && bystander.frames === 0);
  // Switches send link-local groups out of all ports, whoever has joined (RFC 4541, sections 2.1.2 and 3).
  if (scopeOf(facts) === "link") return { facts, members, wanted, sightings: [], unregistered: [], quiet };
  const saw = facts.bystanders.filter(({ bystander }) => bystander.frames > 0);
  let byOthers: WantedByOthers | null = null;
  const all = saw.flatMap((seen): LeakSighting[] => {
    // Another program on that host joined: the frames are wanted there, whatever we know of it.
    if (seen.bystander.isGroupUsedByHost === true) return [];
    const pattern = leakPattern(facts, seen, stays, timers);
    if (pattern === "slow-leave") {
      byOthers ??= new WantedByOthers(site, facts, queriers, timers);
      if (byOthers.has(seen)) return [];
      return [{ facts, stays, seen, pattern, closedPorts: [lastPort(site, facts, seen.node)] }];
    }
    if (pattern === "leave-tail" || wanted.isReached[seen.node] === true) return [];
    const behindClosed = nodesDownTo(facts.tree, seen.node).filter((node) => wanted.isOpen[node] !== true);
    const closedPorts = behindClosed.map((node) => facts.tree.into[node] ?? -1);
    return closedPorts.length === 0 ? [] : [{ facts, stays, seen, pattern, closedPorts }];
  });
  const unregistered = all.filter(isUnregistered);
  const flooded = mergeSequenceRanges(unregistered.flatMap(({ seen }) => seen.bystander.ranges));
  const sightings = all.filter((one) => !isUnregistered(one) && !isFloodAfterLeave(one, flooded));
  return { facts, members, wanted, sightings, unregistered, quiet };
}

const isUnregistered = ({ pattern }: LeakSighting): boolean => pattern === "start-up" || pattern === "unregistered";

/**
 * Once the last member has left, a switch that floods what nobody has joined sends it to the host that left as to all
 * others: where those saw the same numbers, the leave was not slow.
 */
function isFloodAfterLeave(
  { pattern, stays, seen: { bystander } }: LeakSighting,
  flooded: readonly SeqRange[],
): boolean {
  if (pattern !== "slow-leave" || flooded.length === 0 || !isOnlyWithoutMember(bystander, stays)) return false;
  return intersectRanges(flooded, bystander.ranges).length > 0;
}

/** The segment out of the last port on the way that a switch or router can close. */
function lastPort(site: SiteIndex, facts: StreamFacts, node: number): number {
  const path = nodesDownTo(facts.tree, node);
  const canClose = (step: number): boolean =>
    ["switch", "router"].includes(site.nodes[facts.tree.parent[step] ?? -1]?.kind ?? "");
  return facts.tree.into[path.findLast(canClose) ?? node] ?? -1;
}
