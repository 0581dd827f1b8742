import type { SiteIndex } from "../site/site-index.ts";

/** As many hosts at one switch as can tell anything: one sends, one listens. */
const MOST_AT_ONE_PLACE = 2;
/** Hosts further off than these see no more of the suspects. Bounds of effort, no source. */
const MOST_HOSTS = 24;

/**
 * The hosts nearest to the suspects, at most two at each place, so that there are some before, behind and beside them.
 * @param suspects names of segments and nodes
 * @param wanted hosts that are among them in any case
 */
export function nearHosts(
  site: SiteIndex,
  suspects: readonly string[],
  hosts: readonly string[],
  wanted: readonly string[],
): string[] {
  const distances = distancesFrom(site, suspects);
  const byDistance = hosts
    .flatMap((name) => {
      const node = site.nodeNumber.get(name);
      const distance = node === undefined ? undefined : distances.get(node);
      return node === undefined || distance === undefined ? [] : [{ name, node, distance }];
    })
    .sort((a, b) => a.distance - b.distance);
  const taken = new Map<number, number>();
  const near = hosts.filter((name) => wanted.includes(name));
  for (const { name, node } of byDistance) {
    if (near.length >= MOST_HOSTS + wanted.length) break;
    if (near.includes(name)) continue;
    const at = neighbourOf(site, node);
    const times = taken.get(at) ?? 0;
    taken.set(at, times + 1);
    if (times < MOST_AT_ONE_PLACE) near.push(name);
  }
  return near;
}

/** Nodes of the suspects and their neighbours, beside which an agent might stand; hosts are none of them. */
export function placesNear(site: SiteIndex, suspects: readonly string[]): string[] {
  return [...distancesFrom(site, suspects)]
    .filter(([node, distance]) => distance <= 1 && site.nodes[node]?.kind !== "host")
    .flatMap(([node]) => site.nodes[node]?.name ?? []);
}

/** Links from each node to the nearest suspect's end, whichever way. */
function distancesFrom(site: SiteIndex, suspects: readonly string[]): ReadonlyMap<number, number> {
  const distances = new Map<number, number>();
  const queue: number[] = [];
  const reach = (node: number, distance: number): void => {
    if (node < 0 || distances.has(node)) return;
    distances.set(node, distance);
    queue.push(node);
  };
  for (const name of suspects) {
    const segment = site.segments[site.segmentNumber.get(name) ?? -1];
    for (const end of segment === undefined ? [name] : [segment.from.node, segment.to.node]) {
      reach(site.nodeNumber.get(end) ?? -1, 0);
    }
  }
  for (let at = 0; at < queue.length; at++) {
    const node = queue[at] ?? -1;
    for (const segment of site.outgoing[node] ?? []) {
      reach(site.target[segment] ?? -1, (distances.get(node) ?? 0) + 1);
    }
  }
  return distances;
}

const neighbourOf = (site: SiteIndex, host: number): number => site.target[site.outgoing[host]?.[0] ?? -1] ?? -1;
