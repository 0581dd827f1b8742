import { hostOfAgent, pathBetween, type SiteGraph } from "@dyetrace/site";

/**
 * Segments and nodes that lie on the way from a source to every one of some listeners and to none of the others: where
 * one change would have hit just these. Both directions of a link, since joins and leaves travel the other way.
 * @returns in the order of the way; empty where no place fits
 */
export function sharedPlaces(
  graph: SiteGraph,
  source: string,
  hit: readonly string[],
  spared: readonly string[],
): readonly string[] {
  const wayTo = (agent: string): readonly string[] => {
    const path = pathBetween(graph, hostOfAgent(graph, source) ?? source, hostOfAgent(graph, agent) ?? agent);
    if (path === null) return [];
    return path.segments.flatMap(({ id, to }) => [id, to.node]);
  };
  const [first, ...rest] = hit.map(wayTo);
  if (first === undefined) return [];
  const elsewhere = new Set(spared.flatMap(wayTo));
  const isHost = (place: string): boolean => graph.nodes.get(place)?.kind === "host";
  const places = first.filter((place) => rest.every((way) => way.includes(place)) && !elsewhere.has(place));
  return hit.length > 1 ? places.filter((place) => !isHost(place)) : places;
}
