import { queriersOf } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { findingsOf } from "../finding/finding-row.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import { familyOf } from "../run/address-family.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { LeakCases } from "./leak-case.ts";
import { LEAK_ROWS } from "./leak-rows.ts";
import { streamLeaks } from "./leak-sighting.ts";
import { togetherByPort } from "./sightings-by-port.ts";
import { staysByGroup, streamStays } from "./stream-stays.ts";
import { unaskedFloods } from "./unasked-floods.ts";
import { unregisteredRemark } from "./unregistered-remark.ts";

export interface Leaks {
  readonly findings: readonly Finding[];
  /** What is worth telling and accuses nobody. */
  readonly remarks: readonly string[];
}

/**
 * Frames outside the wanted region accuse every switch and router on their way whose port should be closed: a
 * conjunction, not a choice, and certain as far as plan and memberships are right. Sightings with a closed port in
 * common make one finding. What is flooded while nobody is a member accuses nobody, and is told in one remark.
 */
export function findLeaks(
  site: SiteIndex,
  streams: readonly StreamFacts[],
  { queries, leaveSigns, timersOf, drawn }: Pick<MembershipContext, "queries" | "leaveSigns" | "timersOf" | "drawn">,
): Leaks {
  if (!streams.some((facts) => facts.bystanders.some(({ bystander }) => bystander.frames > 0))) {
    return { findings: [], remarks: [] };
  }
  const planned = queriersOf(site.graph, streams[0]?.stream.source ?? "");
  const queriers = new Set(planned.map(({ node }) => site.nodeNumber.get(node) ?? -1));
  const membersOfGroup = new Map<string, Set<number>>();
  for (const facts of streams) {
    const members = membersOfGroup.get(facts.stream.group) ?? new Set();
    for (const member of facts.members) members.add(member);
    membersOfGroup.set(facts.stream.group, members);
  }
  const staysOf = staysByGroup(streams);
  const leaks = streams.map((facts) => {
    const { group } = facts.stream;
    const stays = streamStays(facts, staysOf.get(group) ?? []);
    const members = membersOfGroup.get(group) ?? facts.members;
    return streamLeaks(site, facts, stays, members, queriers, timersOf(familyOf(group)));
  });
  const all = leaks.flatMap((leak) => leak.sightings);
  // What a querier draws to its port is told with that querier.
  const isDrawn = all.length === 0 ? () => false : drawn();
  const undrawn = all.filter(({ facts, seen }) => !isDrawn(seen.bystander.host, facts.stream.stream));
  const { floods, others } = unaskedFloods(site, undrawn, queries);
  const together = togetherByPort(site, others).map((sightings) => ({ sightings, queriesStopAt: null, quietMs: null }));
  const cases = new LeakCases(site, leaks, staysOf, queriers, { leaveSigns, timersOf });
  return {
    findings: findingsOf(
      LEAK_ROWS,
      [...floods, ...together].map((one) => cases.caseOf(one)),
    ),
    remarks: unregisteredRemark(site, leaks),
  };
}
