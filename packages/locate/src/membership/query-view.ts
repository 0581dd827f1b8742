import { layer2Domain, querierOf, queriersOf } from "@dyetrace/site";
import { greatestOf } from "@dyetrace/wire";
import { placeNames } from "../cover/failure-element.ts";
import { smallestFailureSet } from "../cover/failure-set.ts";
import type { PathTrial } from "../cover/path-trial.ts";
import type { AddressFamily } from "../run/address-family.ts";
import { clockErrors } from "../run/host-clocks.ts";
import { once } from "../run/once.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { reaches, sourceTree } from "../site/source-tree.ts";
import { hostsElsewhere } from "./other-vlan.ts";
import { heardFrom, ownTimers, presentMs, queryTimes, timersOf } from "./querier-timing.ts";

/** By how much a switch may have heard its last query earlier than the host that tells of it. Common practice, no source. */
const GONE_EARLY_MS = 500;

/**
 * Who heard general queries, when. Whoever asks says of which family: IGMP queries are about IPv4 groups, MLD queries about
 * IPv6 groups. What a host sent itself it has not heard.
 */
export class QueryView {
  readonly #site: SiteIndex;
  readonly #run: RunObservations;
  readonly #byHost: ReadonlyMap<string, QuerierObservation>;
  readonly #clockErrorMs: (host: string) => number;
  /** Of the sources, by whose clocks the times are told that are asked about. */
  readonly #sourceErrorMs: number;
  /** Hosts whose queries say nothing about the way to where the plan has them. */
  readonly #elsewhere: () => ReadonlySet<string>;

  constructor(site: SiteIndex, run: RunObservations) {
    this.#site = site;
    this.#run = run;
    this.#byHost = new Map(run.queriers.filter((one) => one.canHear).map((one) => [one.host, one]));
    this.#clockErrorMs = clockErrors(run);
    this.#elsewhere = once(() => hostsElsewhere(site, run));
    this.#sourceErrorMs = Math.max(0, ...run.streams.map(({ source }) => this.#clockErrorMs(source)));
  }

  /** Hosts that watched for queries. */
  get hosts(): string[] {
    return [...this.#byHost.keys()];
  }

  isAnyHeard(family: AddressFamily): boolean {
    return this.hosts.some((host) => this.#heardBy(host, family).length > 0);
  }

  /** Hosts to which one querier's queries came twice at least within a time: one alone may have been lost by chance. */
  askedAgain(family: AddressFamily, fromMs: number, toMs: number): string[] {
    const isTwice = ({ queries, firstMs, lastMs }: QuerierHeard): boolean =>
      queries > 1 && Math.min(lastMs, toMs) - Math.max(firstMs, fromMs) >= (lastMs - firstMs) / (queries - 1);
    return this.hosts.filter((host) => this.#heardBy(host, family).some(isTwice));
  }

  /**
   * Whether queries went on at this host in the time: one came, or the time lies between two that came in a row. Null when
   * it could not hear any, or its clock does not tell.
   */
  heard(host: string, family: AddressFamily, fromMs: number, toMs: number): boolean | null {
    return this.#isSo(host, (aheadMs) =>
      this.#heardBy(host, family).some((q) => q.lastMs - aheadMs > fromMs && q.firstMs + aheadMs < toMs),
    );
  }

  /** Whether a query came to this host within the time; null as above. */
  came(host: string, family: AddressFamily, fromMs: number, toMs: number): boolean | null {
    return this.#isSo(host, (aheadMs) =>
      this.#heardBy(host, family).some((q) =>
        queryTimes(q).some((atMs) => atMs - aheadMs > fromMs && atMs + aheadMs < toMs),
      ),
    );
  }

  /**
   * Whether, at all of these hosts that watched, nobody had asked for so long that switches no longer know of a querier
   * (RFC 3376, section 8.5; RFC 3810, section 9.5).
   */
  isGoneBy(family: AddressFamily, atMs: number, isConcerned: (host: string) => boolean): boolean {
    const watching = [...this.#byHost.values()].filter(({ host }) => isConcerned(host));
    return (
      watching.length > 0 &&
      watching.every(({ host, watchedFromMs, watchedToMs }) => {
        const heard = this.#heardBy(host, family);
        const latest = heard.length === 0 ? null : heard.reduce((a, b) => (b.lastMs > a.lastMs ? b : a));
        const standard = timersOf(this.#run, family);
        const timers = latest === null ? standard : ownTimers(latest, standard);
        const leastMs = presentMs(timers) - GONE_EARLY_MS;
        // Who never heard one, in so long a time, was not asked before either.
        if (latest === null) return watchedToMs - watchedFromMs >= leastMs;
        return atMs - Math.max(watchedFromMs, latest.lastMs) >= leastMs;
      })
    );
  }

  /** The last query before an instant that came to any of these hosts; null: none came. */
  lastHeardMs(family: AddressFamily, beforeMs: number, isConcerned: (host: string) => boolean): number | null {
    const times = this.hosts
      .filter(isConcerned)
      .flatMap((host) => this.#heardBy(host, family).map(({ lastMs }) => lastMs))
      .filter((lastMs) => lastMs < beforeMs);
    return times.length === 0 ? null : greatestOf(times);
  }

  #heardBy(host: string, family: AddressFamily): readonly QuerierHeard[] {
    return heardFrom(this.#byHost.get(host) ?? { queriers: [] }, family);
  }

  /** @param isWithin whether it is so where the clocks are off by this much against it */
  #isSo(host: string, isWithin: (aheadMs: number) => boolean): boolean | null {
    if (!this.#byHost.has(host)) return null;
    const errorMs = this.#clockErrorMs(host) + this.#sourceErrorMs;
    return isWithin(errorMs) ? true : isWithin(-errorMs) ? null : false;
  }

  /** Last report of the group by this host before `beforeMs`; null when none was seen. */
  lastReportMs(host: string, group: string, beforeMs: number): number | null {
    const reports = this.#run.membership.filter(
      (e) => e.kind === "report" && e.host === host && e.group === group && e.atMs <= beforeMs,
    );
    return reports.length === 0 ? null : greatestOf(reports.map((e) => e.atMs));
  }

  /**
   * Where queries stop on their way to a host: queries are a stream of their own, from the querier to every host of its
   * domain, and the same reasoning holds. Empty when no querier is known or nobody heard any, and for a host that seems to
   * sit in another VLAN.
   */
  whereQueriesStop(host: string, family: AddressFamily, fromMs: number, toMs: number): string[] {
    const { graph } = this.#site;
    if (this.#elsewhere().has(host)) return [];
    const querier = querierOf(graph, graph.vlans === undefined ? (this.#run.streams[0]?.source ?? "") : host);
    if (querier === null) return [];
    const own = this.#queryTrial(querier.node, family, fromMs, toMs);
    if (own === null) return [];
    if (!own.outcomes.some((outcome) => outcome.good !== null)) return [querier.node];
    // Queries of other VLANs that cross the same trunk clear it as a whole.
    const others = queriersOf(graph, host).filter(({ node }) => node !== querier.node);
    const trials = others.flatMap(({ node }) => this.#queryTrial(node, family, fromMs, toMs) ?? []);
    const { failures } = smallestFailureSet(this.#site, [own, ...trials]);
    const concerned = failures.filter(({ pairs }) => pairs.some(({ trial }) => trial === own));
    return [...new Set(concerned.flatMap((f) => f.elements.flatMap((element) => placeNames(this.#site, element))))];
  }

  /** How one querier's queries came to the hosts of its domain. */
  #queryTrial(querier: string, family: AddressFamily, fromMs: number, toMs: number): PathTrial | null {
    const node = this.#site.nodeNumber.get(querier);
    if (node === undefined) return null;
    const tree = sourceTree(this.#site, node);
    const span = { startMs: fromMs, endMs: toMs };
    const domain = layer2Domain(this.#site.graph, querier);
    const outcomes = this.hosts.flatMap((host) => {
      const leaf = this.#site.nodeNumber.get(host);
      if (leaf === undefined || leaf === node || !reaches(tree, leaf) || !domain.has(host)) return [];
      if (this.#elsewhere().has(host)) return [];
      const isHeard = this.heard(host, family, fromMs, toMs);
      return isHeard === null ? [] : [{ leaf, good: isHeard ? span : null, bad: isHeard ? null : span, marginMs: 0 }];
    });
    return { tree, groupKey: `queries of ${querier}`, payloadBytes: 0, members: null, outcomes };
  }
}
