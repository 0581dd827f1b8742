import { queriersOf, type SiteGraph, unfoldVlans } from "@dyetrace/site";
import { UnaskedHosts } from "../membership/unasked-hosts.ts";
import type { RunObservations } from "../run/run-observations.ts";

/** Who hears whose membership reports, held against where the plan has them. Pairs are named `hearer sender`. */
export class HeardReports {
  readonly #heard: ReadonlySet<string>;
  /** When each host watched; hosts that could not are not in it. */
  readonly #watched: ReadonlyMap<string, { readonly watchedFromMs: number; readonly watchedToMs: number }>;
  /** When each host reported. */
  readonly #reported: ReadonlyMap<string, readonly number[]>;
  /** False where nobody listened, or where the switches hand on more reports than they keep back: then the rule is not theirs. */
  #isKnown: boolean;
  readonly #unasked: UnaskedHosts;
  readonly #firstSource: string;

  constructor(run: RunObservations) {
    const { reportsHeard, queriers, membership, streams } = run;
    const watching = queriers.filter(({ canHear }) => canHear);
    const reported = new Map<string, number[]>();
    for (const { kind, host, atMs } of membership) {
      if (kind === "report") reported.set(host, [...(reported.get(host) ?? []), atMs]);
    }
    this.#heard = new Set(reportsHeard?.map(({ host, from }) => `${host} ${from}`));
    this.#watched = new Map(watching.map((one) => [one.host, one]));
    this.#reported = reported;
    this.#isKnown = reportsHeard !== undefined;
    this.#unasked = new UnaskedHosts(run);
    this.#firstSource = streams[0]?.source ?? "";
  }

  /** Pairs that are not as the plan would have them, for all hosts; how many each host has a part in. */
  misfits(plan: SiteGraph, silent: ReadonlySet<string>): ReadonlyMap<string, number> {
    const times = new Map<string, number>();
    if (!this.#isKnown) return times;
    const ways = new ReportWays(plan, this.#firstSource);
    let keptBack = 0;
    let unexpected = 0;
    for (const from of this.#reported.keys()) {
      const hearing = ways.reached(from, "onwards");
      for (const host of this.#watched.keys()) {
        if (host !== from && !hearing.has(host)) {
          if (this.#heard.has(`${host} ${from}`)) unexpected++;
          else keptBack++;
        }
        if (!this.#isMisfit(host, from, hearing.has(host), silent)) continue;
        for (const one of [host, from]) times.set(one, (times.get(one) ?? 0) + 1);
      }
    }
    this.#isKnown = unexpected <= keptBack;
    return this.#isKnown ? times : new Map();
  }

  /** How many pairs of one host's are not as a plan would have them. */
  misfitsOf(host: string, plan: SiteGraph, silent: ReadonlySet<string>): number {
    if (!this.#isKnown) return 0;
    const ways = new ReportWays(plan, this.#firstSource);
    const hearing = ways.reached(host, "onwards");
    const heardFrom = ways.reached(host, "backwards");
    const asSender = this.#reported.has(host)
      ? [...this.#watched.keys()].filter((one) => this.#isMisfit(one, host, hearing.has(one), silent)).length
      : 0;
    const asHearer = this.#watched.has(host)
      ? [...this.#reported.keys()].filter((one) => this.#isMisfit(host, one, heardFrom.has(one), silent)).length
      : 0;
    return asSender + asHearer;
  }

  #isMisfit(host: string, from: string, isExpected: boolean, silent: ReadonlySet<string>): boolean {
    if (host === from || this.#heard.has(`${host} ${from}`) === isExpected) return false;
    // A switch that knows of no querier sends reports out of all its ports.
    if (!isExpected) return ![host, from].some((one) => this.#unasked.isAtReportOf(from, one));
    // Behind a cut nothing is heard, wherever the host sits.
    if (silent.has(host) || silent.has(from)) return false;
    const watch = this.#watched.get(host);
    const isWatched = (atMs: number): boolean =>
      watch !== undefined && atMs >= watch.watchedFromMs && atMs <= watch.watchedToMs - LATE_MS;
    return this.#reported.get(from)?.some(isWatched) === true;
  }
}

/** So near to the end of a watch a report may come too late. Common practice, no source. */
const LATE_MS = 500;

/**
 * Ways of membership reports: a switch hands them on to where routers and queriers are and nowhere else (RFC 4541, section
 * 2.1.1, rule 1), unmanaged switches and radios to everybody. A switch may be set to do otherwise.
 */
class ReportWays {
  readonly #site: SiteGraph;
  readonly #queriers: ReadonlySet<string>;
  readonly #leads = new Map<string, boolean>();

  constructor(plan: SiteGraph, firstSource: string) {
    this.#site = unfoldVlans(plan);
    this.#queriers = new Set(queriersOf(plan, firstSource).map(({ node }) => node));
  }

  /** Hosts that hear a host's reports; backwards, hosts whose reports it hears. */
  reached(start: string, direction: "onwards" | "backwards"): ReadonlySet<string> {
    const reached = new Set<string>();
    const open = [{ node: start, from: "" }];
    for (const { node, from } of open) {
      const kind = this.#site.nodes.get(node)?.kind;
      if (kind === "host" && node !== start) reached.add(node);
      if (kind === "router" || (kind === "host" && node !== start)) continue;
      for (const { to } of this.#site.outgoing.get(node) ?? []) {
        if (to.node === from) continue;
        const [at, next] = direction === "onwards" ? [node, to.node] : [to.node, node];
        if (this.#handsOn(at, next)) open.push({ node: to.node, from: node });
      }
      if (open.length > this.#site.nodes.size) break; // a loop that the plan does not close
    }
    return reached;
  }

  #handsOn(node: string, next: string): boolean {
    return this.#site.nodes.get(node)?.kind !== "switch" || this.#leadsToQuerier(node, next);
  }

  /** Whether a router or the querier lies behind the switch's port to `next`, within the layer-2 domain. */
  #leadsToQuerier(node: string, next: string): boolean {
    const key = `${node} ${next}`;
    const known = this.#leads.get(key);
    if (known !== undefined) return known;
    this.#leads.set(key, false);
    const isItself = this.#queriers.has(next) || this.#site.nodes.get(next)?.kind === "router";
    const leads =
      isItself ||
      (this.#site.outgoing.get(next) ?? []).some(({ to }) => to.node !== node && this.#leadsToQuerier(next, to.node));
    this.#leads.set(key, leads);
    return leads;
  }
}
