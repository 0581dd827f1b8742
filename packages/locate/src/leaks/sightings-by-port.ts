import type { SiteIndex } from "../site/site-index.ts";
import type { LeakSighting } from "./leak-sighting.ts";

/** Sightings that hang together so far. A part is a sighting, or what was a group of its own until a sighting linked it. */
interface Linked {
  readonly parts: (LeakSighting | Linked)[];
  /** The group that this one became a part of. */
  mergedInto: Linked | null;
  /** When the newest sighting came in. */
  newest: number;
}

/**
 * Groups of sightings linked by nodes that forwarded wrongly in common; slow leaves stand apart from leaks. Each sighting
 * is looked at once, however large its group is.
 */
export function togetherByPort(site: SiteIndex, sightings: readonly LeakSighting[]): LeakSighting[][] {
  const groupOf = new Map<string, Linked>();
  const heads = new Set<Linked>();
  for (const [number, sighting] of sightings.entries()) {
    const isSlow = sighting.pattern === "slow-leave";
    const keys = new Set(sighting.closedPorts.map((port) => `${isSlow} ${site.segments[port]?.from.node}`));
    const linked = new Set<Linked>();
    for (const key of keys) {
      const group = groupOf.get(key);
      if (group !== undefined) linked.add(headOf(group));
    }
    const [only, ...others] = linked;
    const group = only !== undefined && others.length === 0 ? only : merged(linked);
    for (const one of linked) if (one !== group) heads.delete(one);
    heads.add(group);
    group.parts.push(sighting);
    group.newest = number;
    for (const key of keys) groupOf.set(key, group);
  }
  return [...heads].sort((a, b) => a.newest - b.newest).map(sightingsIn);
}

/** In the order in which they last grew; a new group of its own where there is none. */
function merged(linked: ReadonlySet<Linked>): Linked {
  const group: Linked = { parts: [...linked].sort((a, b) => a.newest - b.newest), mergedInto: null, newest: 0 };
  for (const one of linked) one.mergedInto = group;
  return group;
}

function headOf(group: Linked): Linked {
  let head = group;
  while (head.mergedInto !== null) head = head.mergedInto;
  if (group !== head) group.mergedInto = head;
  return head;
}

/** In order; without recursion, since as many groups may lie within each other as the site has nodes. */
function sightingsIn(group: Linked): LeakSighting[] {
  const sightings: LeakSighting[] = [];
  const open: (LeakSighting | Linked)[] = [group];
  for (let part = open.pop(); part !== undefined; part = open.pop()) {
    if ("parts" in part) for (let at = part.parts.length - 1; at >= 0; at--) open.push(part.parts[at] as LeakSighting);
    else sightings.push(part);
  }
  return sightings;
}
