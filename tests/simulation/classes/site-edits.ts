import { buildSiteGraph, type PortRef, type SiteGraph, type SiteLink } from "@dyetrace/site";

/** Sites that differ from another in a few links. Ports that stay keep their names, so that segments keep theirs. */
function withLinks(
  graph: SiteGraph,
  links: readonly Omit<SiteLink, "index">[],
  without: readonly string[] = [],
): SiteGraph {
  const nodes = [...graph.nodes.values()].filter(({ name }) => !without.includes(name));
  return buildSiteGraph(
    graph.name,
    nodes,
    links.map((link, index) => ({ ...link, index })),
  );
}

/** The end of a link at `name`, or null. */
const endAt = ({ a, b }: SiteLink, name: string): PortRef | null => (a.node === name ? a : b.node === name ? b : null);

/** A port that no link of the node uses yet. */
function freePort(links: readonly Pick<SiteLink, "a" | "b">[], node: string): PortRef {
  const used = links.flatMap(({ a, b }) => [a, b]).filter((end) => end.node === node);
  return { node, port: String(1 + Math.max(0, ...used.map(({ port }) => Number(port)))) };
}

/** Each of the two hosts on the other's cable. */
export function swapHosts(graph: SiteGraph, one: string, other: string): SiteGraph {
  const swapped = (end: PortRef): PortRef =>
    end.node === one ? { ...end, node: other } : end.node === other ? { ...end, node: one } : end;
  return withLinks(
    graph,
    graph.links.map((link) => ({ ...link, a: swapped(link.a), b: swapped(link.b) })),
  );
}

/** The link between `node` and `from` leads to a free port of `to` instead. */
export function relink(graph: SiteGraph, node: string, from: string, to: string): SiteGraph {
  return withLinks(
    graph,
    graph.links.map((link) => {
      const [own, old] = [endAt(link, node), endAt(link, from)];
      return own === null || old === null ? link : { ...link, a: freePort(graph.links, to), b: own };
    }),
  );
}

/** The switch is gone, and all that hung on it hangs on its neighbour `above`: one on the switch's old port there. */
export function withoutSwitch(graph: SiteGraph, name: string, above: string): SiteGraph {
  const uplink = graph.links.find((link) => endAt(link, name) !== null && endAt(link, above) !== null);
  const oldPort = uplink === undefined ? null : endAt(uplink, above);
  const links: Omit<SiteLink, "index">[] = [];
  const kept = graph.links.filter((link) => endAt(link, name) === null);
  for (const link of graph.links) {
    const own = endAt(link, name);
    if (own === null) links.push(link);
    if (own === null || link === uplink) continue;
    const isFirst = links.every(({ a }) => a !== oldPort);
    const a = isFirst && oldPort !== null ? oldPort : freePort([...graph.links, ...kept, ...links], above);
    links.push({ ...link, a, b: own === link.a ? link.b : link.a });
  }
  return withLinks(graph, links, [name]);
}

/** The plan's segments, both ways, of the cables that end at a node of the world, known by the port at their other end. */
export function segmentsLike(world: SiteGraph, plan: SiteGraph, node: string): string[] {
  const isFarEnd = (end: string): boolean =>
    world.links.some((link) => {
      const other = endAt(link, node) === link.a ? link.b : link.a;
      return endAt(link, node) !== null && `${other.node}:${other.port}` === end;
    });
  return [...plan.outgoing.values()].flat().flatMap(({ id }) => (id.split(">").some(isFarEnd) ? [id] : []));
}

/** Neighbours of a node that forward. */
export const forwardingNeighbours = (graph: SiteGraph, node: string): string[] =>
  (graph.outgoing.get(node) ?? []).map(({ to }) => to.node).filter((name) => graph.nodes.get(name)?.kind !== "host");

/** Nodes on `node`'s side of its link to `above`, itself first. */
export function nodesBehind(graph: SiteGraph, node: string, above: string): string[] {
  const reached = new Set([node]);
  for (const at of reached) {
    for (const { to } of graph.outgoing.get(at) ?? []) if (to.node !== above || at !== node) reached.add(to.node);
  }
  return [...reached];
}
