import { domainsOfLinks } from "../model/layer2-domain.ts";
import type { LinkSegment, SiteGraph } from "../model/site-model.ts";
import { mayBeDesignated } from "./designated-routers.ts";

/** The ways from a source to everything it reaches: by node the segment into it, every node after the one above it. */
export type SourceWays = ReadonlyMap<string, LinkSegment>;

/** How routers bring one source's packets from domain to domain. Domains are numbered as by `domainsOfLinks`. */
export interface RouterChoice {
  /** By router: its segment into the domain from which it takes the source's packets. */
  readonly upstream: ReadonlyMap<string, LinkSegment>;
  /** By domain other than the source's: the router that forwards into it. */
  readonly forwarder: ReadonlyMap<number, string>;
}

export interface WaysOptions {
  /** Only the cheapest routes: not those of a router that may be designated for a subnet. */
  readonly isDesignatedLeftOut?: boolean;
}

/** Where routes are equal, this many combinations are followed at most. */
export const MOST_ALTERNATIVES = 16;

/**
 * The choices that the routers may make for a source: each takes its packets from the interface with the cheapest route
 * to it (reverse path), and of several routers on one subnet the one with the cheapest route forwards (RFC 7761 sections
 * 4.2 and 4.6). Equal costs are decided by what no plan says, so each of them is a choice of its own; so is the router that
 * may be designated there, which forwards alone where no other was asked to (section 4.3).
 * @param graph unfolded
 * @returns one at least; the first prefers what stands first in the plan
 */
export function routerChoices(
  graph: SiteGraph,
  source: string,
  { isDesignatedLeftOut = false }: WaysOptions = {},
): RouterChoice[] {
  const domains = domainsOfLinks(graph);
  const domainOf = (segment: LinkSegment): number => domains.get(segment.link) ?? -1;
  const routers = [...graph.nodes.values()].filter(({ kind, name }) => kind === "router" && name !== source);
  const costOfDomain = new Map((graph.outgoing.get(source) ?? []).map((segment) => [domainOf(segment), 0]));
  const home = new Set(costOfDomain.keys());
  const portsOf = (router: string): readonly LinkSegment[] => graph.outgoing.get(router) ?? [];
  const costBy = (segment: LinkSegment): number =>
    (costOfDomain.get(domainOf(segment)) ?? Number.POSITIVE_INFINITY) + (segment.link.cost ?? 1);
  const costOfRouter = (router: string): number => Math.min(...portsOf(router).map(costBy));
  for (let isChanged = true; isChanged; ) {
    isChanged = false;
    for (const { name } of routers) {
      const cost = costOfRouter(name);
      for (const domain of portsOf(name).map(domainOf)) {
        if (cost >= (costOfDomain.get(domain) ?? Number.POSITIVE_INFINITY)) continue;
        costOfDomain.set(domain, cost);
        isChanged = true;
      }
    }
  }
  const reached = routers.map(({ name }) => name).filter((name) => Number.isFinite(costOfRouter(name)));
  let choices: RouterChoice[] = [{ upstream: new Map(), forwarder: new Map() }];
  for (const [domain, cost] of costOfDomain) {
    if (home.has(domain)) continue;
    const present = reached.filter((router) => portsOf(router).some((segment) => domainOf(segment) === domain));
    const able = present.filter((router) => costOfRouter(router) === cost);
    const vlan = portsOf(able[0] ?? "").find((segment) => domainOf(segment) === domain)?.link.vlans?.[0];
    // It answers for the members alone, and brings the packets itself unless its own way to the source leads by this subnet.
    const dearer = (isDesignatedLeftOut ? [] : mayBeDesignated(graph, present, vlan)).filter((router) => {
      const ways = portsOf(router).filter((segment) => costBy(segment) === costOfRouter(router));
      return !able.includes(router) && ways.some((segment) => domainOf(segment) !== domain);
    });
    choices = choices
      .flatMap((choice) =>
        [...able, ...dearer].map((router) => ({
          ...choice,
          forwarder: new Map([...choice.forwarder, [domain, router]]),
        })),
      )
      .slice(0, MOST_ALTERNATIVES);
  }
  for (const router of reached) {
    const ways = portsOf(router).filter((segment) => costBy(segment) === costOfRouter(router));
    choices = choices
      .flatMap((choice) => {
        // Where a router that brings nothing on would take the packets from makes no difference.
        const isUsed = [...choice.forwarder.values()].includes(router);
        // What it brings into a subnet it does not take from there.
        const telling = isUsed
          ? ways.filter((way) => choice.forwarder.get(domainOf(way)) !== router)
          : ways.slice(0, 1);
        return telling.map((way) => ({ ...choice, upstream: new Map([...choice.upstream, [router, way]]) }));
      })
      .slice(0, MOST_ALTERNATIVES);
  }
  return choices;
}

/**
 * One set of ways for every choice that the routers may make: alternatives where routes cost the same, else one.
 * @param graph unfolded
 * @param source name of a node of it; an unknown one reaches nothing
 */
export function sourceWays(graph: SiteGraph, source: string, options?: WaysOptions): SourceWays[] {
  const seen = new Set<string>();
  return routerChoices(graph, source, options).flatMap((choice) => {
    const ways = waysByChoice(graph, source, choice);
    const key = [...ways.values()].map((segment) => segment.id).join();
    if (seen.has(key)) return [];
    seen.add(key);
    return [ways];
  });
}

/** The ways that one choice of the routers gives. */
export function waysByChoice(graph: SiteGraph, source: string, { upstream, forwarder }: RouterChoice): SourceWays {
  const domains = domainsOfLinks(graph);
  const domainOf = (segment: LinkSegment): number => domains.get(segment.link) ?? -1;
  const kindOf = (node: string) => graph.nodes.get(node)?.kind;
  const ways = new Map<string, LinkSegment>();
  const queue = [source];
  for (const node of queue) {
    const isSource = node === source;
    if (!isSource && kindOf(node) === "host") continue;
    for (const segment of graph.outgoing.get(node) ?? []) {
      const next = segment.to.node;
      if (next === source || ways.has(next)) continue;
      const domain = domainOf(segment);
      if (!isSource && kindOf(node) === "router" && forwarder.get(domain) !== node) continue;
      const entry = upstream.get(next);
      if (kindOf(next) === "router" && (entry === undefined || domainOf(entry) !== domain)) continue;
      ways.set(next, segment);
      queue.push(next);
    }
  }
  return ways;
}
