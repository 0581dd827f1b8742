import type { StreamFacts } from "../run/stream-facts.ts";
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
  const groups = new Set(sightings.map((s) => s.facts.stream.group));
  const innocent = new Set(
    leaks
      .filter(({ facts }) => groups.has(facts.stream.group))
      .flatMap(({ facts }) => facts.bystanders)
      .filter(({ bystander }) => bystander.isGroupUsedByHost === false)
      .map(({ node }) => node),
  );
  const places = first.facts.tree.order
    .filter((node) => isAtOrBelow(first.facts.tree, node, top) && !innocent.has(node))
    .filter((node) => site.nodes[node]?.kind === "host")
    .slice(0, MOST_PLACES);
  const seenAt = nodesByStream(sightings);
  // A querier opens its ports for every group, so every stream's quiet bystanders can contradict it.
  const ofGroups = leaks.filter((leak) => groups.has(leak.facts.stream.group));
  const explains = (node: number, role: HiddenCause["role"]): boolean =>
    (role === "member" ? ofGroups : leaks).every((leak) =>
      opensTo(site, leak, seenAt.get(leak.facts) ?? NOBODY, node, role, queriers),
    );
  const causes: HiddenCause[] = [];
  for (const node of places) {
    if (groups.size === 1 && explains(node, "member")) causes.push({ node, role: "member" });
    else if (explains(node, "querier")) causes.push({ node, role: "querier" });
  }
  // The bystander itself first: it is where the frames were seen.
  return causes.sort((a, b) => Number(b.node === first.seen.node) - Number(a.node === first.seen.node));
}

const NOBODY: ReadonlySet<number> = new Set();

/** Where each stream was seen. */
function nodesByStream(sightings: readonly LeakSighting[]): ReadonlyMap<StreamFacts, ReadonlySet<number>> {
  const nodes = new Map<StreamFacts, Set<number>>();
  for (const { facts, seen } of sightings) {
    const own = nodes.get(facts) ?? new Set();
    nodes.set(facts, own.add(seen.node));
  }
  return nodes;
}

/** With this member or querier the stream rightly gets to all who saw it, and to nobody who could have seen it and did not. */
function opensTo(
  site: SiteIndex,
  leak: StreamLeaks,
  seenAt: ReadonlySet<number>,
  node: number,
  role: HiddenCause["role"],
  queriers: ReadonlySet<number>,
): boolean {
  const { isReached } = wantedPorts(
    site,
    leak.facts.tree,
    role === "member" ? new Set([...leak.members, node]) : leak.members,
    role === "querier" ? new Set([...queriers, node]) : queriers,
  );
  return (
    [...seenAt].every((at) => isReached[at]) &&
    !leak.quiet.some((quiet) => isReached[quiet.node] && leak.wanted.isReached[quiet.node] !== true)
  );
}
