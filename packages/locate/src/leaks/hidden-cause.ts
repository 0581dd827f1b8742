import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow } from "../site/source-tree.ts";
import type { LeakSighting, StreamLeaks } from "./leak-sighting.ts";
import { wantedPorts } from "./wanted-ports.ts";

/** Something the plan does not know that would make the frames right. */
export interface HiddenCause {
  readonly node: number;
  readonly role: "member" | "querier";
}

/** Suppositions are tried at this many places at most: a bound of effort, no source. */
const MOST_PLACES = 50;

/**
 * One undeclared member or querier (or router) that would open the ports to all these bystanders and contradicts no
 * quiet one. A host whose agent made sure that no program there joined is no such place.
 */
export function hiddenCauses(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  sightings: readonly LeakSighting[],
  queriers: ReadonlySet<number>,
): HiddenCause[] {
  const first = sightings[0];
  if (first === undefined) return [];
  const top = site.target[first.closedPorts[0] ?? -1] ?? first.seen.node;
  const innocent = new Set(
    sightings.filter((s) => s.seen.bystander.isGroupUsedByHost === false).map((s) => s.seen.node),
  );
  const places = first.facts.tree.order
    .filter((node) => isAtOrBelow(first.facts.tree, node, top) && !innocent.has(node))
    .filter((node) => site.nodes[node]?.kind === "host")
    .slice(0, MOST_PLACES);
  const groups = new Set(sightings.map((s) => s.facts.stream.group));
  const causes: HiddenCause[] = [];
  for (const node of places) {
    if (groups.size === 1 && explains(site, leaks, sightings, node, queriers, "member")) {
      causes.push({ node, role: "member" });
    } else if (explains(site, leaks, sightings, node, queriers, "querier")) {
      causes.push({ node, role: "querier" });
    }
  }
  // The bystander itself first: it is where the frames were seen.
  return causes.sort((a, b) => Number(b.node === first.seen.node) - Number(a.node === first.seen.node));
}

function explains(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  sightings: readonly LeakSighting[],
  node: number,
  queriers: ReadonlySet<number>,
  role: HiddenCause["role"],
): boolean {
  // A querier opens its ports for every group, so every stream's quiet bystanders can contradict it.
  const groups = new Set(sightings.map((s) => s.facts.stream.group));
  const concerned = role === "member" ? leaks.filter((l) => groups.has(l.facts.stream.group)) : leaks;
  return concerned.every((leak) => {
    const { isReached } = wantedPorts(
      site,
      leak.facts.tree,
      role === "member" ? new Set([...leak.members, node]) : leak.members,
      role === "querier" ? new Set([...queriers, node]) : queriers,
    );
    const own = sightings.filter((s) => s.facts === leak.facts);
    return (
      own.every((s) => isReached[s.seen.node]) &&
      !leak.quiet.some((quiet) => isReached[quiet.node] && leak.wanted.isReached[quiet.node] !== true)
    );
  });
}
