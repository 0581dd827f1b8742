import { buildSiteGraph, type NodeKind, type SiteGraph, type SiteLink, type SiteNode } from "@dyetrace/site";

const KIND_BY_PREFIX: readonly (readonly [RegExp, NodeKind])[] = [
  [/^(sw|core)/, "switch"],
  [/^um/, "unmanaged"],
  [/^ap/, "access-point"],
  [/^rt/, "router"],
];

/**
 * A site from link lines such as `S1--sw1` or `sw1--um1`, for tests and simulations: a node's kind follows from how its
 * name begins (sw or core: switch, um: unmanaged, ap: access point, rt: router, else host with an agent). Ports are
 * numbered in the order of the lines.
 * @param querier name of the node that sends queries, if any
 */
export function sketchSite(links: readonly string[], querier: string | null = null): SiteGraph {
  const nodes = new Map<string, SiteNode>();
  const ports = new Map<string, number>();
  const portOn = (name: string) => {
    const kind = KIND_BY_PREFIX.find(([prefix]) => prefix.test(name))?.[1] ?? "host";
    nodes.set(name, { name, kind, isQuerier: name === querier, agent: kind === "host" ? name : null });
    const port = (ports.get(name) ?? 0) + 1;
    ports.set(name, port);
    return { node: name, port: String(port) };
  };
  const siteLinks: SiteLink[] = links.map((line, index) => {
    const [a, b] = line.split("--");
    if (a === undefined || b === undefined || a === "" || b === "") {
      throw new RangeError(`Cannot read the link "${line}", expected two node names with -- between them`);
    }
    return { index, a: portOn(a), b: portOn(b), speedBps: null };
  });
  return buildSiteGraph("sketch", [...nodes.values()], siteLinks);
}

/** Id of the segment from one node to its neighbour. */
export function segmentBetween(graph: SiteGraph, from: string, to: string): string {
  const segment = graph.outgoing.get(from)?.find((s) => s.to.node === to);
  if (segment === undefined) throw new RangeError(`No link from ${from} to ${to}`);
  return segment.id;
}
