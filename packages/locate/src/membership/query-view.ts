import { layer2Domain, querierOf, queriersOf } from "@dyetrace/site";
import { greatestOf } from "@dyetrace/wire";
import { placeNames } from "../cover/failure-element.ts";
import { smallestFailureSet } from "../cover/failure-set.ts";
import type { PathTrial } from "../cover/path-trial.ts";
import { clockErrors } from "../run/host-clocks.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { reaches, sourceTree } from "../site/source-tree.ts";

/** Who heard general queries, when. */
export class QueryView {
  readonly #site: SiteIndex;
  readonly #run: RunObservations;
  readonly #byHost: ReadonlyMap<string, QuerierObservation>;
  readonly #clockErrorMs: (host: string) => number;
  /** Of the sources, by whose clocks the times are told that are asked about. */
  readonly #sourceErrorMs: number;

  constructor(site: SiteIndex, run: RunObservations) {
    this.#site = site;
    this.#run = run;
    this.#byHost = new Map(run.queriers.filter((one) => one.canHear).map((one) => [one.host, one]));
    this.#clockErrorMs = clockErrors(run);
    this.#sourceErrorMs = Math.max(0, ...run.streams.map(({ source }) => this.#clockErrorMs(source)));
  }

  /** Hosts that watched for queries. */
  get hosts(): string[] {
    return [...this.#byHost.keys()];
  }

  get isAnyHeard(): boolean {
    return [...this.#byHost.values()].some((one) => one.queriers.length > 0);
  }

  /** Hosts to which one querier's queries came twice at least within a time: one alone may have been lost by chance. */
  askedAgain(fromMs: number, toMs: number): string[] {
    const isTwice = ({ queries, firstMs, lastMs }: QuerierHeard): boolean =>
      queries > 1 && Math.min(lastMs, toMs) - Math.max(firstMs, fromMs) >= (lastMs - firstMs) / (queries - 1);
    return [...this.#byHost.values()].filter(({ queriers }) => queriers.some(isTwice)).map(({ host }) => host);
  }

  /** Whether a query came to this host within the time; null when it could not hear any, or its clock does not tell. */
  heard(host: string, fromMs: number, toMs: number): boolean | null {
    const one = this.#byHost.get(host);
    if (one === undefined) return null;
    const errorMs = this.#clockErrorMs(host) + this.#sourceErrorMs;
    const isWithin = (aheadMs: number): boolean =>
      one.queriers.some((q) => q.lastMs - aheadMs > fromMs && q.firstMs + aheadMs < toMs);
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
   * domain, and the same reasoning holds. Empty when no querier is known or nobody heard any.
   */
  whereQueriesStop(host: string, fromMs: number, toMs: number): string[] {
    const { graph } = this.#site;
    const querier = querierOf(graph, graph.vlans === undefined ? (this.#run.streams[0]?.source ?? "") : host);
    if (querier === null) return [];
    const own = this.#queryTrial(querier.node, fromMs, toMs);
    if (own === null) return [];
    if (!own.outcomes.some((outcome) => outcome.good !== null)) return [querier.node];
    // Queries of other VLANs that cross the same trunk clear it as a whole.
    const others = queriersOf(graph, host).filter(({ node }) => node !== querier.node);
    const trials = others.flatMap(({ node }) => this.#queryTrial(node, fromMs, toMs) ?? []);
    const { failures } = smallestFailureSet(this.#site, [own, ...trials]);
    const concerned = failures.filter(({ pairs }) => pairs.some(({ trial }) => trial === own));
    return [...new Set(concerned.flatMap((f) => f.elements.flatMap((element) => placeNames(this.#site, element))))];
  }

  /** How one querier's queries came to the hosts of its domain. */
  #queryTrial(querier: string, fromMs: number, toMs: number): PathTrial | null {
    const node = this.#site.nodeNumber.get(querier);
    if (node === undefined) return null;
    const tree = sourceTree(this.#site, node);
    const span = { startMs: fromMs, endMs: toMs };
    const domain = layer2Domain(this.#site.graph, querier);
    const outcomes = this.hosts.flatMap((host) => {
      const leaf = this.#site.nodeNumber.get(host);
      if (leaf === undefined || leaf === node || !reaches(tree, leaf) || !domain.has(host)) return [];
      const isHeard = this.heard(host, fromMs, toMs);
      return isHeard === null ? [] : [{ leaf, good: isHeard ? span : null, bad: isHeard ? null : span, marginMs: 0 }];
    });
    return { tree, groupKey: `queries of ${querier}`, payloadBytes: 0, members: null, outcomes };
  }
}
