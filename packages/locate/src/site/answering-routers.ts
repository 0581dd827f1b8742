import { layer2Domain, mayBeDesignated } from "@dyetrace/site";
import type { SiteIndex } from "./site-index.ts";

/** A router that may answer for the members of a subnet though another one brings the packets in. */
export interface AnsweringRouter {
  /** Node number. */
  readonly router: number;
  /** For the nodes of the subnet, the segment by which a way from the router comes to each. */
  readonly into: ReadonlyMap<number, number>;
}

const KNOWN = new WeakMap<SiteIndex, Map<string, readonly AnsweringRouter[]>>();

/**
 * Of several routers on a subnet the designated one answers for the members there, and has the packets brought by
 * whichever router is on its way to the source (RFC 7761, sections 4.3 and 4.6). It is the one with the highest address
 * where no priorities are set; where the plan gives no addresses, each may be.
 * @param first node below `forwarder`, in the subnet that it forwards into
 * @returns none where the forwarder itself is the only one that may be
 */
export function answeringRouters(
  site: SiteIndex,
  forwarder: number,
  first: number,
  family: 4 | 6,
): readonly AnsweringRouter[] {
  const ofSite = KNOWN.get(site) ?? new Map<string, readonly AnsweringRouter[]>();
  KNOWN.set(site, ofSite);
  const key = `${forwarder} ${first} ${family}`;
  const known = ofSite.get(key) ?? findAnswering(site, forwarder, first, family);
  ofSite.set(key, known);
  return known;
}

function findAnswering(site: SiteIndex, forwarder: number, first: number, family: 4 | 6): AnsweringRouter[] {
  const name = site.nodes[first]?.name ?? "";
  if (site.nodes[first]?.kind === "router") return [];
  const domain = layer2Domain(site.graph, name);
  const routers = [...domain].filter((node) => site.graph.nodes.get(node)?.kind === "router");
  const own = site.nodes[forwarder]?.name ?? "";
  const vlan = site.segments[site.outgoing[first]?.[0] ?? -1]?.link.vlans?.[0];
  // Of IPv6 the link-local addresses decide, which no plan has.
  const designated = family === 6 ? routers : mayBeDesignated(site.graph, routers, vlan);
  const others = designated.filter((router) => router !== own);
  return others.flatMap((router) => {
    const number = site.nodeNumber.get(router);
    return number === undefined ? [] : [{ router: number, into: waysInDomain(site, number, domain) }];
  });
}

function waysInDomain(site: SiteIndex, from: number, domain: ReadonlySet<string>): Map<number, number> {
  const into = new Map<number, number>();
  const queue = [from];
  for (const node of queue) {
    const kind = site.nodes[node]?.kind;
    if (node !== from && (kind === "router" || kind === "host")) continue;
    for (const segment of site.outgoing[node] ?? []) {
      const next = site.target[segment] ?? from;
      if (next === from || into.has(next) || !domain.has(site.nodes[next]?.name ?? "")) continue;
      into.set(next, segment);
      queue.push(next);
    }
  }
  return into;
}
