import { type AddressFamily, familyOf } from "../run/address-family.ts";
import type { QuerierObservation, RunObservations } from "../run/run-observations.ts";
import { heardFrom, ownTimers, timersOf } from "./querier-timing.ts";

/** So many of its intervals without a query, and one at least did not come. Common practice, no source. */
const MISSED_INTERVALS = 1.5;

interface SentReport {
  readonly family: AddressFamily;
  readonly atMs: number;
}

/**
 * Hosts to which no queries came as a report passed. A switch there may know of no querier, and then sends reports out of all
 * its ports instead of handing them on to routers and queriers alone (RFC 4541, section 2.1.1, rule 1).
 */
export class UnaskedHosts {
  readonly #run: RunObservations;
  readonly #watching: ReadonlyMap<string, QuerierObservation>;
  /** Families of which anybody heard queries. */
  readonly #heard: ReadonlySet<AddressFamily>;
  readonly #reports: ReadonlyMap<string, readonly SentReport[]>;

  constructor(run: RunObservations) {
    const reports = new Map<string, SentReport[]>();
    for (const { kind, host, group, atMs } of run.membership) {
      if (kind === "report") reports.set(host, [...(reports.get(host) ?? []), { family: familyOf(group), atMs }]);
    }
    this.#run = run;
    this.#watching = new Map(run.queriers.filter(({ canHear }) => canHear).map((one) => [one.host, one]));
    const views = [...this.#watching.values()];
    this.#heard = new Set(([4, 6] as const).filter((family) => views.some((one) => heardFrom(one, family).length > 0)));
    this.#reports = reports;
  }

  /** @param from whose reports @param host at which */
  isAtReportOf(from: string, host: string): boolean {
    const watch = this.#watching.get(host);
    if (watch === undefined) return false;
    return (this.#reports.get(from) ?? []).some((report) => this.#isUnasked(watch, report));
  }

  #isUnasked(watch: QuerierObservation, { family, atMs }: SentReport): boolean {
    const heard = heardFrom(watch, family);
    // Where nobody heard any, this host is like all others.
    if (heard.length === 0) return this.#heard.has(family);
    return heard.every((querier) => {
      const leastMs = MISSED_INTERVALS * ownTimers(querier, timersOf(this.#run, family)).queryIntervalMs;
      return atMs - Math.min(querier.lastMs, atMs) > leastMs || querier.firstMs > atMs + leastMs;
    });
  }
}
