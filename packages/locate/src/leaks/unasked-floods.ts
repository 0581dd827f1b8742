import { querierOf } from "@dyetrace/site";
import type { QueryView } from "../membership/query-view.ts";
import { type AddressFamily, familyOf } from "../run/address-family.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, sourceTree } from "../site/source-tree.ts";
import type { LeakSighting } from "./leak-sighting.ts";

/** Sightings of a flood that began as memberships ran out where no query came. */
export interface UnaskedFlood {
  readonly sightings: readonly LeakSighting[];
  /** Where queries stop on their way there; never empty. */
  readonly queriesStopAt: readonly string[];
  /** Since when nobody asked, before the first frame of each: at least so long. Null: since before the stream began. */
  readonly quietMs: number | null;
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
  const floods = new Map<string, UnaskedFlood & { readonly sightings: LeakSighting[] }>();
  const others: LeakSighting[] = [];
  const isDeaf = deafSwitches(site, queries);
  for (const sighting of sightings) {
    const { host } = sighting.seen.bystander;
    const family = familyOf(sighting.facts.stream.group);
    const unasked = unaskedTime(site, sighting, queries, isDeaf);
    if (unasked === null) {
      others.push(sighting);
      continue;
    }
    const { fromMs, untilMs } = unasked;
    // Who shares a querier shares the answer, for what began at the same time.
    const domain = `${family} ${querierOf(site.graph, host)?.node ?? ""} ${Math.round(fromMs / 1000)}`;
    const queriesStopAt = stopsOfDomain.get(domain) ?? queries.whereQueriesStop(host, family, fromMs, untilMs);
    stopsOfDomain.set(domain, queriesStopAt);
    const quietMs = fromMs > startMs(sighting) ? (sighting.seen.bystander.firstMs ?? untilMs) - fromMs : null;
    const key = `${family} ${quietMs === null} ${queriesStopAt.join(" ")}`;
    const same = floods.get(key);
    if (queriesStopAt.length === 0) others.push(sighting);
    else {
      const sightings = [...(same?.sightings ?? []), sighting];
      const leastMs = quietMs === null ? null : Math.min(quietMs, same?.quietMs ?? quietMs);
      floods.set(key, { sightings, queriesStopAt, quietMs: leastMs });
    }
  }
  return { floods: [...floods.values()], others };
}

const startMs = ({ facts }: LeakSighting): number => facts.stream.firstSentMs ?? 0;

type IsDeaf = (node: string, family: AddressFamily, fromMs: number, toMs: number) => boolean;

interface UnaskedTime {
  readonly fromMs: number;
  readonly untilMs: number;
}

/**
 * When nobody asked, where the bystander could have heard a query and heard none: before a flood that began when
 * memberships run out, or to its end, below a switch that hears no query while others of its domain do. Such a switch
 * knows of no querier any more soon, whatever its memberships, and then floods. Null elsewhere.
 */
function unaskedTime(site: SiteIndex, sighting: LeakSighting, queries: QueryView, isDeaf: IsDeaf): UnaskedTime | null {
  const { pattern, closedPorts, seen, facts } = sighting;
  const family = familyOf(facts.stream.group);
  const { host, firstMs, lastMs } = seen.bystander;
  if (firstMs === null || lastMs === null || pattern === "slow-leave") return null;
  const fromMs = startMs(sighting);
  if (pattern === "late" && queries.heard(host, family, fromMs, firstMs) === false) {
    return { fromMs, untilMs: firstMs };
  }
  // No switch knows of a querier any more, and all of them flood.
  const querier = querierOf(site.graph, host)?.node;
  const isOfDomain = (other: string): boolean => querierOf(site.graph, other)?.node === querier;
  if (queries.isGoneBy(family, firstMs, isOfDomain)) {
    const lastMs = queries.lastHeardMs(family, firstMs, isOfDomain) ?? fromMs;
    return { fromMs: Math.max(fromMs, lastMs), untilMs: firstMs };
  }
  const isUnasked = queries.heard(host, family, fromMs, lastMs) === false;
  return isUnasked && isDeaf(site.segments[closedPorts[0] ?? -1]?.from.node ?? "", family, fromMs, lastMs)
    ? { fromMs, untilMs: lastMs }
    : null;
}

/** Whether queries go round in a switch's domain in a time, and none is heard behind the switch itself. */
function deafSwitches(site: SiteIndex, queries: QueryView): IsDeaf {
  const known = new Map<string, boolean>();
  return (node, family, fromMs, toMs) => {
    const key = `${node} ${family} ${fromMs} ${toMs}`;
    const isDeaf = known.get(key) ?? isDeafSwitch(site, queries, node, family, fromMs, toMs);
    known.set(key, isDeaf);
    return isDeaf;
  };
}

function isDeafSwitch(
  site: SiteIndex,
  queries: QueryView,
  node: string,
  family: AddressFamily,
  fromMs: number,
  toMs: number,
): boolean {
  const querier = querierOf(site.graph, node)?.node ?? "";
  const at = site.nodeNumber.get(querier);
  if (at === undefined) return false;
  const tree = sourceTree(site, at);
  const top = site.nodeNumber.get(node) ?? -1;
  const asked = queries
    .askedAgain(family, fromMs, toMs)
    .filter((host) => querierOf(site.graph, host)?.node === querier);
  return asked.length > 0 && !asked.some((host) => isAtOrBelow(tree, site.nodeNumber.get(host) ?? -1, top));
}
