import { domainsOfLinks, type LinkSegment, type SiteGraph, unfoldVlans } from "@dyetrace/site";
import { drawOne, type Random } from "../seeded-random.ts";

/**
 * Who keeps the multicast routes: `static`, the router that the unicast routes say, from the reports that it hears itself;
 * `pim`, sparse mode (RFC 7761): of the routers on a subnet the designated one answers for its members (section 4.3.1), and
 * asks the router on its way to the source.
 */
export type RoutingMode = "static" | "pim";

/** Segments are those of the unfolded site. */
export interface RoutedFaults {
  /** On these nothing comes through. */
  readonly dead?: ReadonlySet<string>;
  /** On these membership reports are lost. */
  readonly reportless?: ReadonlySet<string>;
  /** Routers whose route to a source leads out of a wrong interface: `router source`, and the segment out of it. */
  readonly wrongRoutes?: ReadonlyMap<string, LinkSegment>;
}

/** By router the segment out of it to where a source's packets come from; by subnet the router that brings them in. */
interface Routes {
  readonly upstream: ReadonlyMap<string, LinkSegment>;
  readonly forwarder: ReadonlyMap<number, string>;
}

/** Where one source's packets come: by host, through how many routers; and which segments they cross. */
export interface Delivery {
  readonly hops: ReadonlyMap<string, number>;
  readonly crossed: ReadonlySet<string>;
}

/**
 * How a routed site carries packets, on paper: reports learn ports, hellos and queries learn router ports, routers check
 * the reverse path and forward where somebody asked. It shares with the localiser the unfolded site and nothing of its
 * reasoning.
 */
export class RoutedWorld {
  readonly site: SiteGraph;
  readonly #mode: RoutingMode;
  readonly #domains: ReturnType<typeof domainsOfLinks>;
  readonly #routersOf = new Map<number, string[]>();
  readonly #choices = new Map<string, Routes>();
  readonly #rank: readonly string[];
  readonly #random: Random;

  /** @param graph with the costs that the routers count */
  constructor(graph: SiteGraph, mode: RoutingMode, random: Random) {
    this.site = unfoldVlans(graph);
    this.#mode = mode;
    this.#random = random;
    this.#domains = domainsOfLinks(this.site);
    for (const { name, kind } of this.site.nodes.values()) {
      if (kind !== "router") continue;
      for (const segment of this.site.outgoing.get(name) ?? []) {
        const domain = this.domainOf(segment);
        this.#routersOf.set(domain, [...(this.#routersOf.get(domain) ?? []), name]);
      }
    }
    // The highest address is the designated router's (RFC 7761, section 4.3.2); all of a router end alike here.
    const last = (name: string): number => Number(this.site.nodes.get(name)?.addresses?.[0]?.split(".").at(-1) ?? 0);
    const routers = [...this.site.nodes.values()].filter(({ kind }) => kind === "router").map(({ name }) => name);
    this.#rank = routers
      .map((name) => ({ name, at: last(name) + random() / 2 }))
      .sort((a, b) => b.at - a.at)
      .map(({ name }) => name);
  }

  domainOf(segment: LinkSegment): number {
    return this.#domains.get(segment.link) ?? -1;
  }

  /** The domain that a host sits in. */
  homeOf(host: string): number {
    const [segment] = this.site.outgoing.get(host) ?? [];
    return segment === undefined ? -1 : this.domainOf(segment);
  }

  routersOf(domain: number): readonly string[] {
    return this.#routersOf.get(domain) ?? [];
  }

  /** The router that answers for the members of a domain, for what this source sends. */
  answeringRouter(domain: number, source: string): string | null {
    if (this.#mode === "static") return this.#choiceOf(source).forwarder.get(domain) ?? null;
    return this.#rank.find((router) => this.routersOf(domain).includes(router)) ?? null;
  }

  /** Segments from one node of a domain to another, none through a router. */
  wayInDomain(from: string, to: string, domain: number): LinkSegment[] {
    const into = new Map<string, LinkSegment | null>([[from, null]]);
    for (const [node] of into) {
      const kind = this.site.nodes.get(node)?.kind;
      if (node !== from && (kind === "router" || kind === "host")) continue;
      for (const segment of this.site.outgoing.get(node) ?? []) {
        if (this.domainOf(segment) === domain && !into.has(segment.to.node)) into.set(segment.to.node, segment);
      }
    }
    const way: LinkSegment[] = [];
    for (let step = into.get(to); step != null; step = into.get(step.from.node)) way.unshift(step);
    return way;
  }

  /** The segment out of a router to where its packets from this source come from. */
  upstreamOf(router: string, source: string, { wrongRoutes }: RoutedFaults = {}): LinkSegment | null {
    return wrongRoutes?.get(`${router} ${source}`) ?? this.#choiceOf(source).upstream.get(router) ?? null;
  }

  /** @param members of the group: hosts that joined it, from whatever source */
  deliver(source: string, members: readonly string[], faults: RoutedFaults = {}): Delivery {
    const hops = new Map<string, number>();
    const crossed = new Set<string>();
    const open = this.#openPorts(members, faults);
    const forwarded = new Set<string>();
    const queue = (this.site.outgoing.get(source) ?? []).map((segment) => ({ segment, passed: 0 }));
    for (const { segment, passed } of queue) {
      if (faults.dead?.has(segment.id)) continue;
      crossed.add(segment.id);
      const node = segment.to.node;
      const kind = this.site.nodes.get(node)?.kind;
      const onwards = (this.site.outgoing.get(node) ?? []).filter((next) => next.link !== segment.link);
      const within = onwards.filter((next) => this.domainOf(next) === this.domainOf(segment));
      if (kind === "host" && !hops.has(node)) hops.set(node, passed);
      if (kind === "switch")
        queue.push(...within.filter(({ id }) => open.has(id)).map((next) => ({ segment: next, passed })));
      if (kind === "unmanaged" || kind === "access-point")
        queue.push(...within.map((next) => ({ segment: next, passed })));
      if (kind !== "router") continue;
      const upstream = this.upstreamOf(node, source, faults);
      if (upstream === null || this.domainOf(upstream) !== this.domainOf(segment)) continue; // fails the reverse-path check
      for (const next of this.site.outgoing.get(node) ?? []) {
        const into = this.domainOf(next);
        if (forwarded.has(`${node} ${into}`) || !this.#forwardsInto(node, into, source, members, faults, [])) continue;
        forwarded.add(`${node} ${into}`);
        queue.push({ segment: next, passed: passed + 1 });
      }
    }
    return { hops, crossed };
  }

  /** Ports of switches that a report, a hello or a query opened. */
  #openPorts(members: readonly string[], { dead, reportless }: RoutedFaults): ReadonlySet<string> {
    const open = new Set<string>();
    const backOf = (segment: LinkSegment): string =>
      this.site.outgoing.get(segment.to.node)?.find(({ link }) => link === segment.link)?.id ?? "";
    const walk = (way: readonly LinkSegment[], isLost: (id: string) => boolean): void => {
      for (const segment of way) {
        if (isLost(segment.id)) return;
        open.add(backOf(segment));
      }
    };
    const isDead = (id: string): boolean => dead?.has(id) === true;
    const isReportLost = (id: string): boolean => isDead(id) || reportless?.has(id) === true;
    for (const domain of new Set(this.#domains.values())) {
      const nodes = this.#nodesOf(domain);
      const askers = [
        ...this.routersOf(domain),
        ...nodes.filter((node) => this.site.nodes.get(node)?.kind === "switch" && this.site.nodes.get(node)?.isQuerier),
      ];
      for (const asker of askers) {
        for (const node of nodes) walk(this.wayInDomain(asker, node, domain), isDead);
        for (const member of members) {
          if (this.homeOf(member) === domain) walk(this.wayInDomain(member, asker, domain), isReportLost);
        }
      }
    }
    return open;
  }

  #nodesOf(domain: number): string[] {
    const nodes = new Set<string>();
    for (const [link, of] of this.#domains) if (of === domain) nodes.add(link.a.node).add(link.b.node);
    return [...nodes];
  }

  #forwardsInto(
    router: string,
    domain: number,
    source: string,
    members: readonly string[],
    faults: RoutedFaults,
    asking: readonly string[],
  ): boolean {
    const upstream = this.upstreamOf(router, source, faults);
    if (upstream === null || this.domainOf(upstream) === domain || this.homeOf(source) === domain) return false;
    const isReached = (from: string, to: string, isLost: (id: string) => boolean): boolean =>
      this.wayInDomain(from, to, domain).every(({ id }) => !isLost(id));
    const isDead = (id: string): boolean => faults.dead?.has(id) === true;
    const isReportLost = (id: string): boolean => isDead(id) || faults.reportless?.has(id) === true;
    const forwarder = this.#choiceOf(source).forwarder.get(domain);
    const answering = this.answeringRouter(domain, source);
    const isAsked = (to: string): boolean =>
      members.some((member) => this.homeOf(member) === domain && isReached(member, to, isReportLost));
    const joins = (other: string): boolean => {
      const own = this.upstreamOf(other, source, faults);
      if (other === router || asking.includes(other) || own === null || this.domainOf(own) !== domain) return false;
      if (faults.wrongRoutes?.has(`${other} ${source}`)) return false; // no neighbour there to ask
      if (!isReached(other, router, isDead)) return false;
      const wantsFor = (this.site.outgoing.get(other) ?? []).some((next) =>
        this.#forwardsInto(other, this.domainOf(next), source, members, faults, [...asking, router]),
      );
      return wantsFor || (this.#mode === "pim" && other === answering && isAsked(other));
    };
    const isJoined = router === forwarder && this.routersOf(domain).some(joins);
    if (isJoined) return true;
    if (answering !== router || !isAsked(router)) return false;
    // Of two that forward into a subnet the one with the better route goes on (RFC 7761, section 4.6).
    return (
      forwarder === router ||
      forwarder === undefined ||
      !this.#forwardsInto(forwarder, domain, source, members, faults, [...asking, router])
    );
  }

  /** Equal routes are decided once for each source. */
  #choiceOf(source: string): Routes {
    const known = this.#choices.get(source) ?? this.#drawRoutes(source);
    this.#choices.set(source, known);
    return known;
  }

  /** Shortest routes to the source's subnet, by the costs of the links that routers leave by. */
  #drawRoutes(source: string): Routes {
    const costOf = new Map([[this.homeOf(source), 0]]);
    const portsOf = (router: string): readonly LinkSegment[] => this.site.outgoing.get(router) ?? [];
    const costBy = (port: LinkSegment): number =>
      (costOf.get(this.domainOf(port)) ?? Number.POSITIVE_INFINITY) + (port.link.cost ?? 1);
    const costOfRouter = (router: string): number => Math.min(...portsOf(router).map(costBy));
    for (let round = 0; round <= this.#rank.length; round++) {
      for (const router of this.#rank) {
        const cost = costOfRouter(router);
        for (const port of portsOf(router)) {
          const domain = this.domainOf(port);
          costOf.set(domain, Math.min(costOf.get(domain) ?? Number.POSITIVE_INFINITY, cost));
        }
      }
    }
    const upstream = new Map<string, LinkSegment>();
    for (const router of this.#rank) {
      const ways = portsOf(router).filter((port) => costBy(port) === costOfRouter(router));
      upstream.set(router, drawOne(this.#random, ways));
    }
    const forwarder = new Map<number, string>();
    for (const [domain, cost] of costOf) {
      if (domain === this.homeOf(source)) continue;
      const able = this.routersOf(domain).filter((router) => costOfRouter(router) === cost);
      forwarder.set(domain, drawOne(this.#random, able));
    }
    return { upstream, forwarder };
  }
}
