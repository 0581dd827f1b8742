import { querierOf } from "@dyetrace/site";
import type { QueryView } from "../membership/query-view.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { LeakSighting } from "./leak-sighting.ts";

/** Sightings of a flood that began as memberships ran out where no query came. */
export interface UnaskedFlood {
  readonly sightings: readonly LeakSighting[];
  /** Where queries stop on their way there; never empty. */
  readonly queriesStopAt: readonly string[];
}

/**
 * Where no query comes, nobody reports, and once memberships have run out many switches flood. However many ports that
 * opens, it has one cause: whatever keeps the queries away.
 * @returns the floods, one for each place where queries stop, and the sightings that are none
 */
export function unaskedFloods(
  site: SiteIndex,
  sightings: readonly LeakSighting[],
  queries: QueryView,
): { readonly floods: readonly UnaskedFlood[]; readonly others: readonly LeakSighting[] } {
  const stopsOfDomain = new Map<string, readonly string[]>();
  const floods = new Map<string, { readonly sightings: LeakSighting[]; readonly queriesStopAt: readonly string[] }>();
  const others: LeakSighting[] = [];
  for (const sighting of sightings) {
    const { host } = sighting.seen.bystander;
    const untilMs = unaskedUntilMs(sighting, queries);
    if (untilMs === null) {
      others.push(sighting);
      continue;
    }
    // Who shares a querier shares the answer.
    const domain = querierOf(site.graph, host)?.node ?? "";
    const queriesStopAt = stopsOfDomain.get(domain) ?? queries.whereQueriesStop(host, startMs(sighting), untilMs);
    stopsOfDomain.set(domain, queriesStopAt);
    const key = queriesStopAt.join(" ");
    const same = floods.get(key);
    if (queriesStopAt.length === 0) others.push(sighting);
    else if (same === undefined) floods.set(key, { sightings: [sighting], queriesStopAt });
    else same.sightings.push(sighting);
  }
  return { floods: [...floods.values()], others };
}

const startMs = ({ facts }: LeakSighting): number => facts.stream.firstSentMs ?? 0;

/** When the flood began, where the bystander could have heard a query before and heard none; null elsewhere. */
function unaskedUntilMs(sighting: LeakSighting, queries: QueryView): number | null {
  const { host, firstMs } = sighting.seen.bystander;
  if (sighting.pattern !== "late" || firstMs === null) return null;
  return queries.heard(host, startMs(sighting), firstMs) === false ? firstMs : null;
}
