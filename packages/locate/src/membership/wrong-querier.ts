import { isInSubnet, layer2Domain, parseSubnet } from "@dyetrace/site";
import { greatestOf, parseIpAddress } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, having, rowsOf } from "../finding/finding-row.ts";
import { count, instant, nameList, seconds } from "../finding/wording.ts";
import { protocolOf } from "../run/address-family.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { type Drawing, type DrawnStreams, drawnTo, isFloodOfChange } from "./drawn-streams.ts";
import { hasAddress, isLasting, isOfRun, ownTimers, presentMs, timersOf } from "./querier-timing.ts";
import { type FamilyDomain, familyDomains, inVlan, plannedHost, plannedQuerier } from "./query-domains.ts";
import { takeOverAt } from "./take-over.ts";

/** What the plan has for a querier, and its address. */
export interface PlannedRouter {
  readonly node: string;
  readonly address: string;
}

/** Somebody asks who should not. */
interface WrongQuerier extends FamilyDomain {
  readonly querier: QuerierHeard;
  /** Hosts that heard it. */
  readonly hearers: readonly string[];
  /** The host that its queries went out of; null where none of those with an agent is it. */
  readonly sender: string | null;
  /** The one that it silenced, as it was heard; null where it silenced nobody in the run. */
  readonly silenced: QuerierHeard | null;
  /** The router that should ask; null where the plan tells no address of it, or it does ask. */
  readonly planned: PlannedRouter | null;
  readonly drawing: Drawing;
  /** Who saw streams since it asks that he had not joined, and the segments to him. */
  readonly drawn: DrawnStreams;
}

const row = rowsOf<WrongQuerier>({
  streams: ({ drawn }) => drawn.streams,
  suspects: ({ sender, drawn }) => (sender === null ? drawn.segments : [sender]),
  evidence: whereItSits,
});

/** Hosts and streams that are told one by one. */
const MOST_TOLD = 3;
const ADVICE =
  "Find the other by its hardware address in the switches' address tables, and turn its querier off or filter queries on ports to hosts. Give the querier that belongs there the lowest address of the VLAN.";
const REFERENCE = "RFC 3376, section 6.6.2; RFC 3810, section 7.6.2; RFC 4541, section 2.1.1";

/** Of a plan that tells no address, the one that took over may be the planned one that came back. Our estimate, no source. */
const TAKE_OVER_CONFIDENCE = 0.85;

const ROWS = [
  row({
    kind: "wrong-querier",
    match: (one) => having(one, "sender"),
    title: (one) =>
      `${one.sender} asks as an ${who(one)}: general queries from ${one.querier.address} go out of it, ${when(one.querier)}`,
    evidence: ({ silenced }) => [
      "The plan has it as a host, and hosts must not ask.",
      ...(silenced === null ? [] : [tellSilenced(silenced)]),
    ],
    advice: "Look on this host for a program or a bridge that sends queries, and turn that off.",
    reference: REFERENCE,
  }),
  row({
    kind: "wrong-querier",
    match: (one) => having(one, "silenced"),
    confidence: () => TAKE_OVER_CONFIDENCE,
    title: (one) =>
      `A second ${who(one)}, ${one.querier.address}, took over from ${one.silenced.address}: its first query came ${instant(one.querier.firstMs)}, and ${hasAddress(one.silenced) ? "the lower address" : "whoever has an address"} wins the election`,
    evidence: (one) => [tellSilenced(one.silenced), tellHeard(one)],
    advice: `See which of the two belongs there: it may be that the planned one has come back. ${ADVICE}`,
    reference: REFERENCE,
  }),
  row({
    kind: "wrong-querier",
    match: (one) => having(one, "planned"),
    title: (one) =>
      `Another ${who(one)} than planned: ${one.querier.address} asks, and ${one.planned.node} has ${one.planned.address}`,
    evidence: (one) => [tellHeard(one)],
    advice: ADVICE,
    reference: REFERENCE,
  }),
];

/** Queriers that the plan does not have, as far as addresses, times and hosts tell. */
export function findWrongQueriers(site: SiteIndex, run: RunObservations): Finding[] {
  return findingsOf(
    ROWS,
    familyDomains(site, run).flatMap((domain) => wrongQueriersIn(site, run, domain)),
  );
}

/** Whether frames that a host saw without being a member came there on account of a querier that should not ask. */
export type IsDrawn = (host: string, stream: string) => boolean;

export function drawnByQueriers(site: SiteIndex, run: RunObservations): IsDrawn {
  const wrong = familyDomains(site, run).flatMap((domain) => wrongQueriersIn(site, run, domain));
  return (host, stream) =>
    wrong.some(
      ({ drawn, drawing }) =>
        drawn.sightings.some((one) => one.host === host && one.stream === stream) ||
        isFloodOfChange(run, drawing, host, stream),
    );
}

/** Addresses that ask in a domain and should not. */
export const wrongAddresses = (site: SiteIndex, run: RunObservations, domain: FamilyDomain): ReadonlySet<string> =>
  new Set(wrongQueriersIn(site, run, domain).map(({ querier }) => querier.address));

function wrongQueriersIn(site: SiteIndex, run: RunObservations, domain: FamilyDomain): WrongQuerier[] {
  const watching = domain.queriers
    .filter(({ canHear }) => canHear)
    .map((one) => ({ ...one, queriers: one.queriers.filter(({ family }) => family === domain.family) }));
  const planned = plannedRouter(site, domain, run);
  const isPlanned = ({ address }: QuerierHeard): boolean => address === planned?.address;
  const addresses = new Set(watching.flatMap(({ queriers }) => queriers.filter(isOfRun).map(({ address }) => address)));
  return [...addresses].flatMap((address): WrongQuerier[] => {
    const heard = stretchesOf(watching, address);
    const [querier] = heard.map(({ stretch }) => stretch).sort((a, b) => a.firstMs - b.firstMs);
    if (querier === undefined) return [];
    const sender = heard.find(({ stretch }) => stretch.isOwn === true)?.host ?? null;
    const takeOvers = watching.flatMap((one) => takeOverAt(one) ?? []).filter(({ after }) => after.address === address);
    const [takeOver] = takeOvers;
    const isAnother = planned !== null && hasAddress(querier) && isLasting(querier) && !isPlanned(querier);
    if (sender === null && takeOver === undefined && !isAnother) return [];
    if (sender === null && (isPlanned(querier) || mayBeRouter(site, domain, address))) return [];
    const sinceMs = takeOver?.after.firstMs ?? querier.firstMs;
    const timers = ownTimers(takeOver?.after ?? querier, timersOf(run, domain.family));
    const drawing = {
      family: domain.family,
      hosts: watching.map(({ host }) => host),
      sinceMs,
      untilMs: greatestOf(heard.map(({ stretch }) => stretch.lastMs)) + presentMs(timers),
      responseMs: timers.queryResponseMs,
      sender,
    };
    const hearers = heard.flatMap(({ host, stretch }) => (stretch.isOwn === true ? [] : [host]));
    return [
      {
        ...domain,
        querier: takeOver?.after ?? querier,
        hearers: [...new Set(hearers)],
        sender,
        silenced: takeOver?.before ?? null,
        planned: isAnother ? planned : null,
        drawing,
        drawn: drawnTo(site, run, drawing),
      },
    ];
  });
}

const stretchesOf = (
  watching: readonly QuerierObservation[],
  address: string,
): { readonly host: string; readonly stretch: QuerierHeard }[] =>
  watching.flatMap(({ host, queriers }) =>
    queriers.filter((one) => one.address === address && isOfRun(one)).map((stretch) => ({ host, stretch })),
  );

/**
 * Whether a router of the plan may have that address: routers that forward multicast ask too, and the lowest address among them
 * wins, whichever of them the plan has for the querier (RFC 3376, section 6.6.2). MLD's queries come from link-local addresses, which no plan tells.
 */
function mayBeRouter(site: SiteIndex, domain: FamilyDomain, address: string): boolean {
  const { family } = domain;
  const host = plannedHost(site, domain);
  // Of a VLAN that the plan has no host in, nobody knows what else may ask there.
  if (host === null) return true;
  return [...layer2Domain(site.graph, host)].some((name) => {
    const node = site.graph.nodes.get(name);
    if (node?.kind !== "router") return false;
    const own = (node.addresses ?? []).filter((text) => parseIpAddress(text)?.family === family);
    return family === 6 || own.length === 0 || own.includes(address);
  });
}

/** The address that the querier has by the plan, which seldom knows link-local ones. */
export function plannedRouter(site: SiteIndex, domain: FamilyDomain, run: RunObservations): PlannedRouter | null {
  const node = plannedQuerier(site, run, domain);
  if (node === null || domain.family === 6) return null;
  const text = site.graph.vlans?.get(domain.vlan ?? -1)?.ipv4 ?? null;
  const subnet = text === null ? null : parseSubnet(text);
  const addresses = site.graph.nodes.get(node)?.addresses ?? [];
  const [address, ...more] = addresses.filter((one) => {
    const parsed = parseIpAddress(one);
    // Without VLANs all that it has is of the one domain; in a VLAN only its subnet tells which.
    const isOfDomain = subnet === null ? domain.vlan === null : parsed !== null && isInSubnet(subnet, parsed);
    return parsed?.family === 4 && isOfDomain;
  });
  return address === undefined || more.length > 0 ? null : { node, address };
}

const who = ({ family, vlan }: WrongQuerier): string => `${protocolOf(family)} querier${inVlan(vlan)}`;

const when = ({ firstMs, lastMs, queries }: QuerierHeard): string =>
  queries === 1 ? instant(firstMs) : `the first ${instant(firstMs)}, the last ${instant(lastMs)}`;

const tellHeard = ({ querier, hearers }: WrongQuerier): string =>
  `${nameList(hearers)} heard ${count(querier.queries, "query", "queries")} from ${querier.address}, ${when(querier)}.${querier.mac === undefined ? "" : ` Its hardware address is ${querier.mac}.`}`;

const tellSilenced = ({ address, lastMs, intervalMs }: QuerierHeard): string =>
  `${address} asked ${intervalMs === undefined ? "" : `every ${seconds(intervalMs)} `}until then, last ${instant(lastMs)}; it is silent for as long as it hears that one.`;

/** As far as who hears and who sees what tells. */
function whereItSits({ sender, hearers, drawn }: WrongQuerier): string[] {
  const lines = [
    "Switches send every stream out of the port that queries come in by, so streams now flow there as well.",
  ];
  if (sender === null && hearers.length > 0) {
    lines.push(`It sits on none of ${nameList(hearers)}: its queries came in there.`);
  }
  const [port] = drawn.segments;
  for (const { host, stream, firstMs } of drawn.sightings.slice(0, MOST_TOLD)) {
    lines.push(
      `${host} saw ${stream} ${instant(firstMs)} and later without being a member, so it may sit behind the same port${port === undefined ? "" : `, ${port}`}.`,
    );
  }
  return lines;
}
