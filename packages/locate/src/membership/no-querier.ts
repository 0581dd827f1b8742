import { greatestOf } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, having, rowsOf } from "../finding/finding-row.ts";
import { instant, nameList, seconds } from "../finding/wording.ts";
import { protocolOf } from "../run/address-family.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { ownTimers, presentMs, timersOf } from "./querier-timing.ts";
import { type FamilyDomain, familyDomains, inVlan, plannedQuerier } from "./query-domains.ts";

/** One host at the end of its watch: for how long nobody had asked there any more, or ever. */
interface Silence {
  readonly one: QuerierObservation;
  /** The last that asked; null where none ever did. */
  readonly last: QuerierHeard | null;
  readonly silentMs: number;
  /** For how long a querier may be silent and still be taken to be there. */
  readonly presentMs: number;
  /** How often the last one asked, where that is known. */
  readonly intervalMs: number | null;
}

interface NobodyAsks extends FamilyDomain {
  /** Hosts that listened for longer than an absent querier may stay unnoticed; one at least. */
  readonly silences: readonly Silence[];
  /** Where the plan has the querier; null where it does not say. */
  readonly planned: string | null;
  /** The silence after the latest query of all; null where no host heard any. */
  readonly ended: (Silence & { readonly last: QuerierHeard }) | null;
}

/** Hosts that are told one by one. */
const MOST_TOLD = 5;

const row = rowsOf<NobodyAsks>({
  streams: () => [],
  suspects: ({ planned }) => (planned === null ? [] : [planned]),
});

const REFERENCE = "RFC 4541, section 2.1.1; RFC 3376, section 8.5; RFC 3810, section 9.5";

const ROWS = [
  row({
    kind: "no-querier",
    match: (one) => having(one, "ended"),
    title: ({ vlan, family, silences, ended: { last } }) =>
      `The ${protocolOf(family)} querier${inVlan(vlan)} fell silent: the last general query, from ${last.address}, came ${instant(last.lastMs)}, and ${hostsOf(silences)} heard none after it`,
    evidence: ({ silences, ended }) => [
      ...silences.slice(0, MOST_TOLD).map(tellSilence),
      `${ended.last.address} ${ended.intervalMs === null ? "" : `asked every ${seconds(ended.intervalMs)}; it `}has to be taken for gone after ${seconds(ended.presentMs)} without a query.`,
    ],
    advice:
      "See what became of that querier: a restart, a cable, a filter, a change of its address. A second one as standby takes over after that time.",
    reference: REFERENCE,
  }),
  row({
    kind: "no-querier",
    match: (one) => one,
    title: ({ vlan, family, silences }) =>
      `No ${protocolOf(family)} querier${inVlan(vlan)}: ${hostsOf(silences)} heard no general query for ${seconds(Math.min(...silences.map(({ silentMs }) => silentMs)))}`,
    evidence: ({ silences }) => silences.slice(0, MOST_TOLD).map(tellSilence),
    advice:
      "Give one switch or router in this VLAN the part of the querier, with an address, and a second one as standby. Without one, memberships run out or the switches flood.",
    reference: REFERENCE,
  }),
];

/** VLANs in which nobody asks for memberships of a family that the run's streams are of, or nobody any more. */
export function findNoQuerier(site: SiteIndex, run: RunObservations): Finding[] {
  return findingsOf(
    ROWS,
    familyDomains(site, run).flatMap((domain) => nobodyAsks(site, run, domain) ?? []),
  );
}

const hostsOf = (silences: readonly Silence[]): string => nameList(silences.map(({ one }) => one.host));

const tellSilence = ({ one, last, silentMs }: Silence): string =>
  last === null
    ? `${one.host} listened for ${seconds(silentMs)} and heard none.`
    : `${one.host} heard the last one, from ${last.address}, ${instant(last.lastMs)}, and none in the ${seconds(silentMs)} after it.`;

/** Whether nobody asks in a domain, or nobody any more. */
export const isUnasked = (site: SiteIndex, run: RunObservations, domain: FamilyDomain): boolean =>
  nobodyAsks(site, run, domain) !== null;

function nobodyAsks(site: SiteIndex, run: RunObservations, domain: FamilyDomain): NobodyAsks | null {
  const all = domain.queriers.filter(({ canHear }) => canHear).map((one) => silenceAt(run, domain, one));
  const silences = all.filter((one) => one.silentMs > one.presentMs);
  // One that hears them says that there is a querier: what keeps its queries from the others is another question.
  if (silences.length === 0 || all.some(({ last, silentMs, presentMs }) => last !== null && silentMs <= presentMs)) {
    return null;
  }
  const [latest] = silences
    .flatMap((one) => (one.last === null ? [] : [{ ...one, last: one.last }]))
    .sort((a, b) => b.last.lastMs - a.last.lastMs);
  return { ...domain, silences, planned: plannedQuerier(site, run, domain), ended: latest ?? null };
}

function silenceAt(run: RunObservations, { family }: FamilyDomain, one: QuerierObservation): Silence {
  const heard = one.queriers.filter((querier) => querier.family === family);
  const lastMs = greatestOf(
    heard.map((querier) => querier.lastMs),
    Number.NEGATIVE_INFINITY,
  );
  const last = heard.find((querier) => querier.lastMs === lastMs) ?? null;
  const timers = timersOf(run, family);
  return {
    one,
    last,
    // A silence before the watch began, or while it was broken, is none that anybody heard.
    silentMs: one.watchedToMs - Math.max(one.watchedFromMs, lastMs),
    presentMs: presentMs(last === null ? timers : ownTimers(last, timers)),
    intervalMs: last?.intervalMs ?? null,
  };
}
