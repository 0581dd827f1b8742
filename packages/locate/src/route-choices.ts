import { type SiteGraph, type SourceWays, unfoldVlans } from "@dyetrace/site";
import type { RunObservations } from "./run/run-observations.ts";
import { hasLoops, type SiteIndex } from "./site/site-index.ts";
import { routersTo, waysFrom } from "./site/ways-from.ts";

/** More combinations of routes than this are not followed: a bound of effort, no source. */
const MOST_COMBINATIONS = 16;

/**
 * Where routes cost the same, the plan does not say which of them a source's packets take: all combinations of the
 * alternatives, for the sources of a run together. Where packets told how many routers they passed, only ways with as many;
 * where no way of the plan has, ways by other costs that have, if there are any.
 * @param run absent where nothing is known but the plan
 * @returns one combination at least; in a site without routers the one that names none
 */
export function routeCombinations(
  plan: SiteGraph,
  sources: readonly string[],
  run?: Pick<RunObservations, "streams" | "listeners">,
): SiteIndex["alternatives"][] {
  const site = unfoldVlans(plan);
  let combinations: ReadonlyMap<string, number>[] = [new Map()];
  if (!hasLoops(site) || ![...site.nodes.values()].some(({ kind }) => kind === "router")) return combinations;
  const hops = run === undefined ? new Map<string, PassedRouters[]>() : passedRouters(run);
  for (const source of new Set(sources)) {
    if (!site.nodes.has(source)) continue;
    const numbers = likelyWays(site, source, hops.get(source) ?? []);
    if (numbers.length === 1 && numbers[0] === 0) continue;
    combinations = combinations
      .flatMap((one) => numbers.map((number) => new Map([...one, [source, number]])))
      .slice(0, MOST_COMBINATIONS);
  }
  return combinations;
}

/** How many routers one source's packets passed on their way to a host, by their TTL. */
interface PassedRouters {
  readonly host: string;
  readonly passed: number;
}

function passedRouters({
  streams,
  listeners,
}: Pick<RunObservations, "streams" | "listeners">): Map<string, PassedRouters[]> {
  const streamOf = new Map(streams.map((stream) => [stream.stream, stream]));
  const bySource = new Map<string, PassedRouters[]>();
  for (const { stream: name, host, ttlSeen } of listeners) {
    const stream = streamOf.get(name);
    if (stream === undefined || stream.ttl === null || ttlSeen === null) continue;
    const known = bySource.get(stream.source) ?? [];
    bySource.set(stream.source, known);
    known.push({ host, passed: stream.ttl - ttlSeen });
  }
  return bySource;
}

/** Numbers of the ways that contradict the fewest hop counts. */
function likelyWays(site: SiteGraph, source: string, hops: readonly PassedRouters[]): number[] {
  const { planned, others } = waysFrom(site, source);
  const contradictions = (ways: SourceWays): number => {
    const routers = new Map<string, number | undefined>();
    return hops.filter(({ host, passed }) => {
      if (!routers.has(host)) routers.set(host, routersTo(site, ways, source, host)?.length);
      const count = routers.get(host);
      return count !== undefined && count !== passed;
    }).length;
  };
  const counts = planned.map(contradictions);
  const fewest = Math.min(...counts);
  const numbers = [...planned.keys()].filter((number) => counts[number] === fewest);
  if (fewest === 0) return numbers;
  const fitting = others().flatMap((ways, at) => (contradictions(ways) === 0 ? [planned.length + at] : []));
  return fitting.length === 0 ? numbers : fitting;
}
