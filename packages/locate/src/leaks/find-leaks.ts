import { queriersOf } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { findingsOf } from "../finding/finding-row.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { leakCase } from "./leak-case.ts";
import { LEAK_ROWS } from "./leak-rows.ts";
import { type LeakSighting, streamLeaks } from "./leak-sighting.ts";
import { unaskedFloods } from "./unasked-floods.ts";

/**
 * Frames outside the wanted region accuse every switch and router on their way whose port should be closed: a
 * conjunction, not a choice, and certain as far as plan and memberships are right. Sightings with a closed port in
 * common make one finding.
 */
export function findLeaks(
  site: SiteIndex,
  streams: readonly StreamFacts[],
  { queries, timers }: Pick<MembershipContext, "queries" | "timers">,
): Finding[] {
  if (!streams.some((facts) => facts.bystanders.some(({ bystander }) => bystander.frames > 0))) return [];
  const planned = queriersOf(site.graph, streams[0]?.stream.source ?? "");
  const queriers = new Set(planned.map(({ node }) => site.nodeNumber.get(node) ?? -1));
  const membersOfGroup = new Map<string, Set<number>>();
  for (const facts of streams) {
    const members = membersOfGroup.get(facts.stream.group) ?? new Set();
    for (const member of facts.members) members.add(member);
    membersOfGroup.set(facts.stream.group, members);
  }
  const leaks = streams.map((facts) =>
    streamLeaks(site, facts, membersOfGroup.get(facts.stream.group) ?? facts.members, queriers, timers),
  );
  const { floods, others } = unaskedFloods(
    site,
    leaks.flatMap((leak) => leak.sightings),
    queries,
  );
  const together = togetherByPort(site, others).map((sightings) => ({ sightings, queriesStopAt: null }));
  return findingsOf(
    LEAK_ROWS,
    [...floods, ...together].map((one) => leakCase(site, leaks, one, queriers, timers)),
  );
}

/** Groups of sightings linked by closed ports in common; slow leaves stand apart from leaks. */
function togetherByPort(site: SiteIndex, sightings: readonly LeakSighting[]): LeakSighting[][] {
  const groups: { readonly keys: Set<string>; readonly sightings: LeakSighting[] }[] = [];
  for (const sighting of sightings) {
    const isSlow = sighting.pattern === "slow-leave";
    const keys = new Set(sighting.closedPorts.map((port) => `${isSlow} ${site.segments[port]?.from.node}`));
    const linked = groups.filter((group) => [...keys].some((key) => group.keys.has(key)));
    const merged = {
      keys: new Set([...keys, ...linked.flatMap((group) => [...group.keys])]),
      sightings: [...linked.flatMap((group) => group.sightings), sighting],
    };
    for (const group of linked) groups.splice(groups.indexOf(group), 1);
    groups.push(merged);
  }
  return groups.map((group) => group.sightings);
}
