import { buildSiteGraph, type PortRef, type SiteGraph } from "@dyetrace/site";

/** The node that a host hangs on; null where it hangs on none, or on several. */
export function nodeAbove(graph: SiteGraph, host: string): string | null {
  const [first, ...others] = graph.outgoing.get(host) ?? [];
  return first === undefined || others.length > 0 ? null : first.to.node;
}

/** Nodes that a host could hang on instead; none where it hangs on several. */
export function placesFor(graph: SiteGraph, host: string): string[] {
  const planned = nodeAbove(graph, host);
  const forwards = [...graph.nodes.values()].filter(({ name, kind }) => kind !== "host" && name !== planned);
  return planned === null ? [] : forwards.map(({ name }) => name);
}

/** The port that a host is supposed on: which one it is, nobody knows. */
export const UNKNOWN_PORT = "?";

/** The site with a host's only link leading to another node; its VLANs as before. */
export function siteWithHostAt(graph: SiteGraph, host: string, node: string): SiteGraph {
  const moved = (end: PortRef, other: PortRef): PortRef =>
    other.node === host ? { node, port: `${UNKNOWN_PORT}${host}` } : end;
  return buildSiteGraph(
    graph.name,
    [...graph.nodes.values()],
    graph.links.map((link) => ({ ...link, a: moved(link.a, link.b), b: moved(link.b, link.a) })),
    graph.vlans ?? null,
  );
}
