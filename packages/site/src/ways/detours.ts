import { domainsOfLinks } from "../model/layer2-domain.ts";
import type { LinkSegment, SiteGraph } from "../model/site-model.ts";
import { routerChoices, type SourceWays, sourceWays, waysByChoice } from "./source-ways.ts";

/** More combinations of routers than this are not tried, and more ways not kept: bounds of effort, no source. */
const MOST_TRIED = 512;
const MOST_KEPT = 64;

/**
 * The ways by which a source's packets could come to all that they reach, other than by the costs of the plan: each subnet
 * by any router on it, each router from any of its subnets. For telling where packets came that passed more or fewer routers
 * than planned.
 * @param graph unfolded
 * @returns none in a site that has no two ways
 */
export function detours(graph: SiteGraph, source: string): SourceWays[] {
  const domains = domainsOfLinks(graph);
  const domainOf = (segment: LinkSegment): number => domains.get(segment.link) ?? -1;
  const [planned] = routerChoices(graph, source);
  const [reached] = sourceWays(graph, source);
  if (planned === undefined || reached === undefined) return [];
  const routers = [...planned.upstream.keys()];
  const portsOf = (router: string): readonly LinkSegment[] => graph.outgoing.get(router) ?? [];
  // Subnets and routers form a tree: there is one way to each.
  const joints = routers.reduce((sum, router) => sum + new Set(portsOf(router).map(domainOf)).size, 0);
  if (joints < routers.length + planned.forwarder.size + 1) return [];
  const present = (domain: number): string[] =>
    routers.filter((router) => portsOf(router).some((segment) => domainOf(segment) === domain));
  const forwarders = product(
    [...planned.forwarder.keys()].map((domain) => present(domain).map((router) => [domain, router] as const)),
  );
  const known = new Set(sourceWays(graph, source).map(keyOf));
  const found: SourceWays[] = [];
  let tried = 0;
  for (const forwarder of forwarders) {
    const into = new Map(forwarder);
    const used = [...new Set(into.values())];
    const upstreams = product(
      used.map((router) =>
        portsOf(router)
          .filter((segment) => into.get(domainOf(segment)) !== router)
          .map((segment) => [router, segment] as const),
      ),
    );
    for (const upstream of upstreams) {
      if (found.length >= MOST_KEPT || ++tried > MOST_TRIED) return found;
      const ways = waysByChoice(graph, source, {
        forwarder: into,
        upstream: new Map([...planned.upstream, ...upstream]),
      });
      const isWhole = [...reached.keys()].every((node) => ways.has(node) || graph.nodes.get(node)?.kind === "router");
      if (!isWhole || known.has(keyOf(ways))) continue;
      known.add(keyOf(ways));
      found.push(ways);
    }
  }
  return found;
}

/** One of each list, in all combinations that effort allows. */
function product<T>(lists: readonly (readonly T[])[]): T[][] {
  let combinations: T[][] = [[]];
  for (const list of lists)
    combinations = combinations.flatMap((one) => list.map((item) => [...one, item])).slice(0, MOST_TRIED);
  return combinations;
}

const keyOf = (ways: SourceWays): string =>
  [...ways.values()]
    .map(({ id }) => id)
    .sort()
    .join();
